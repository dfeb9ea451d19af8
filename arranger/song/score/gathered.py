"""What has been found so far in a score that is being read."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from arranger.song.model import KeyChange, Mark, MetreChange, Repair, TempoChange


class ScoreNote(NamedTuple):
    """A note of one part, before parts are numbered."""

    onset: int
    end: int
    track: int
    pitch: int
    velocity: int
    channel: int
    program: int
    drum: bool


class Gathered:
    """What has been found so far."""

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self.notes: list[ScoreNote] = []
        self.names: list[str] = []
        self.tempos: dict[int, TempoChange] = {}
        self.metres: dict[int, MetreChange] = {}
        self.keys: dict[int, KeyChange] = {}
        self.marks: list[Mark] = []
        self.repairs: list[Repair] = []
        self.remarks: list[str] = []
        self.graces = 0
        self.outside = 0
        self.marked = False
        """Whether there are repeat marks that music21 doesn't keep in tunes of one bar (ABC)."""
        self.symbols = 0
