"""The notes of a song: columns for work on all of them, and one `Note` at a time for the rest.

A million notes as columns take 84 MB; as tuples they take four times as much. So a song keeps
columns, and `Notes` makes the tuples when they are asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, NamedTuple, overload

import numpy as np

from arranger.columns import named_rows

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from arranger.columns import Bools, Floats, Ints

_AT_A_TIME = 4096


class Note(NamedTuple):
    """One note as the file asks for it."""

    id: int
    """Index in ``Song.notes``; the ledger's key."""
    part: int
    """Index in ``Song.parts``."""
    track: int
    channel: int
    onset: int
    """In ticks."""
    duration: int
    """In ticks, sustain pedal included; 0 for a note of no length."""
    pitch: int
    """MIDI note number; for drums the General MIDI percussion key."""
    velocity: int
    """1..127, as written."""
    loudness: float
    """0..1: velocity, channel volume and expression multiplied, each as a share of 127."""
    drum: bool
    shift: int = 0
    """Semitones by which tuning and pitch bend moved it; ``pitch - shift`` is the key as written."""
    rings: int = 0
    """Ticks at the end of its duration for which only a pedal holds it: its key is up."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Columns:
    """Every field of `Note` but its id, each of shape (notes,). Read only: stages share them."""

    part: Ints
    track: Ints
    channel: Ints
    onset: Ints
    duration: Ints
    pitch: Ints
    velocity: Ints
    loudness: Floats
    drum: Bools
    shift: Ints
    rings: Ints

    def __post_init__(self) -> None:
        for column in self.all():
            column.setflags(write=False)

    @classmethod
    def of(cls, notes: Sequence[Note]) -> Columns:
        """Return the columns of notes; their ids are their places."""
        found = {name: [getattr(note, name) for note in notes] for name in _FIELDS}
        return cls(**{name: np.array(found[name], _TYPES.get(name, np.int64)) for name in _FIELDS})

    def __len__(self) -> int:
        return len(self.part)

    def all(self) -> Iterator[NDArray[np.generic]]:
        """Yield the columns in the order of `Note`'s fields."""
        return (getattr(self, name) for name in _FIELDS)

    def notes(self, places: Sequence[int]) -> list[Note]:
        """Return the notes at some places."""
        rows = (column[places].tolist() for column in self.all())
        return named_rows(Note, zip(places, *rows, strict=True))

    @property
    def end(self) -> Ints:
        """The tick at which each note ends."""
        ends: Ints = self.onset + self.duration
        return ends


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TimedColumns(Columns):
    """The same with the times by the song's tempo map."""

    onset_seconds: Floats
    end_seconds: Floats


_FIELDS = tuple(field.name for field in fields(Columns))
_TYPES: dict[str, type] = {"loudness": np.float64, "drum": np.bool_}


class Notes(Sequence[Note]):
    """The notes of a song as a sequence; equal to a tuple of the same notes."""

    __slots__ = ("columns",)

    def __init__(self, columns: Columns) -> None:
        self.columns = columns

    def __len__(self) -> int:
        return len(self.columns)

    @overload
    def __getitem__(self, index: int) -> Note: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Note, ...]: ...
    def __getitem__(self, index: int | slice) -> Note | tuple[Note, ...]:
        """Return one note, or a tuple of them."""
        at = range(len(self))[index]
        if isinstance(at, range):
            return tuple(self[place] for place in at)
        return Note(at, *(column[at].item() for column in self.columns.all()))

    def __iter__(self) -> Iterator[Note]:
        for start in range(0, len(self), _AT_A_TIME):
            end = min(start + _AT_A_TIME, len(self))
            rows = (column[start:end].tolist() for column in self.columns.all())
            yield from map(Note._make, zip(range(start, end), *rows, strict=True))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Notes):
            return tuple(self) == other
        pairs = zip(self.columns.all(), other.columns.all(), strict=True)
        return all(np.array_equal(ours, theirs) for ours, theirs in pairs)

    def __hash__(self) -> int:
        return hash(tuple(self))
