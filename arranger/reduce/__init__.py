"""Reduction: from parts on a grid to two voices, drums and a ledger.

The way of the data, a module a step:

    prepare   ring        lines under a held pedal move on
              salience    what each note is worth (roles, tune_model, duplicates)
              transpose   the key, when it is to be chosen
              fold        octaves that the pitch table has
              textures    what the two voices are for
              candidates  tones, segments, what there is to choose from
              drums       the drum that could sound on each step
    decide    cost        the cost table: every term, its meaning and its bounds
              terms       the cost of every choice, in batches
              optimum     the cheapest path
              fit         the same under a limit of bytes
    tell      attacks     rows, gaps before repetitions, tones under drums
              heard       what finished rows let be heard
              account     what became of every note
              laws        whether the account says what the rows play
              explain     ...in a sentence; weighing and breakdown tell what a bar was weighed by
"""

from arranger.reduce.laws import remarks_on_laws
from arranger.reduce.ledger import Entry, Ledger, Span, check_conservation
from arranger.reduce.model import Evidence, PartRole, Reduction
from arranger.reduce.reasons import OUTCOMES, REASONS
from arranger.reduce.run import reduce

__all__ = [
    "OUTCOMES",
    "REASONS",
    "Entry",
    "Evidence",
    "Ledger",
    "PartRole",
    "Reduction",
    "Span",
    "check_conservation",
    "reduce",
    "remarks_on_laws",
]
