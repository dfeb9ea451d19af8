"""Reduction: from parts on a grid to two voices, drums and a ledger.

choose   What there is to choose from, what each choice costs, and the cheapest way through
perform  From the choice to what sounds: rows, gaps before repetitions, the limit of bytes
place    On the grid and in the table: places, the pedal, folding by octaves, the key
tell     What became of every note, in entries and in words, and what was weighed in a bar
worth    What each note is worth: roles, names, the model of the tune, passages, doubling
ledger   The ledger: every note of the song, each exactly once, with its outcome and reasons
model    What the reduction hands on: rows of the sheet, the ledger
reasons  Outcomes and reasons: the words of the ledger and one sentence template for each
run      The reduction of a song, from its notes on the grid to rows and ledger
"""

from arranger.reduce.ledger import Entry, Ledger, Span, check_conservation
from arranger.reduce.model import Reduction
from arranger.reduce.reasons import OUTCOMES, REASONS
from arranger.reduce.run import reduce
from arranger.reduce.tell.laws import remarks_on_laws
from arranger.reduce.worth.weights import PartRole, RoleEvidence

__all__ = [
    "OUTCOMES", "REASONS", "Entry", "Ledger", "PartRole", "Reduction", "RoleEvidence", "Span",
    "check_conservation", "reduce", "remarks_on_laws",
]  # fmt: skip
