"""What the reduction hands on: rows of the sheet, the ledger, and roles with their evidence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from arranger.reduce.ledger import Ledger
    from arranger.reduce.worth.weights import PartRole, Weights
    from arranger.rows import Row


class TexturePassage(NamedTuple):
    """Bars in a row that have one texture."""

    texture: str
    """Never "auto"."""
    first_bar: int
    """As people count it, see `arranger.grid.model.GridBar`."""
    last_bar: int
    asked: bool
    """Whether the user chose it; else it follows from what sounds there."""
    chords: float
    """Share of the time in which some part has a chord."""
    part: int
    """The part that has chords for the longest time, or -1."""
    song_first_bar: int | None = None
    """The song's number of the first bar, where a hand gave it another."""
    song_last_bar: int | None = None


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
    passages: tuple[TexturePassage, ...] = ()
    """The textures, in order; they cover all bars."""
    remarks: tuple[str, ...] = ()
    weights: Weights | None = None
    """What each note was worth, when the reduction was made from a song."""
