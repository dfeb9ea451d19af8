"""What the reduction hands on: rows of the sheet, the ledger, and roles with their evidence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from arranger.reduce.ledger import Ledger
    from arranger.reduce.worth.weights import PartRole, Weights
    from arranger.rows import Row


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reduction:
    """Two voices and an account of every note."""

    voice1: Row
    voice2: Row
    drums: tuple[str | None, ...]
    sources1: tuple[int, ...]
    """For each step the id of the note that voice 1 holds there, or -1."""
    sources2: tuple[int, ...]
    drum_sources: tuple[int, ...]
    """For each step the id of the drum note that sounds there, or -1."""
    ledger: Ledger
    roles: tuple[PartRole, ...]
    """One a part, in order."""
    remarks: tuple[str, ...] = ()
    weights: Weights | None = None
    """What each note was worth, when the reduction was made from a song."""
