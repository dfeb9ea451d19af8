"""Reduction: from parts on a grid to two voices, drums and a ledger."""

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
]
