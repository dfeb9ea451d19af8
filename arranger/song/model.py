"""The song as read: notes, parts, tempo and metre maps. Immutable; nothing later changes it.

Conventions
-----------
- Time is counted in ticks (integers) from the start of the file; ``ticks_per_beat`` ticks are one
  quarter note, which is what "beat" means in this package, whatever the metre.
- ``track`` is the index of the track in the file, from 0. A **part** is what one track plays on one
  channel with one program; most tracks are one part. Parts are indexed from 0 in the order in which
  they first sound; people see them numbered from 1.
- ``channel`` is 0..15; channel 9 is the tenth, General MIDI percussion.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from arranger.song.notes import Columns, Note, Notes

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "Columns", "Control", "KeyChange", "Mark", "MetreChange", "Note", "Notes", "Part", "Repair",
    "Song", "TempoChange", "Track",
]  # fmt: skip


class Part(NamedTuple):
    """What one track plays on one channel with one program."""

    index: int  # type: ignore[assignment]  # hides tuple.index, which nobody needs here
    track: int
    channel: int
    program: int
    """General MIDI program 0..127; 0 when the file names none."""
    name: str
    """The track's name, or the General MIDI name of the program; never empty."""
    drum: bool
    pan: int
    """0 (left) .. 127 (right), 64 centre: the last controller 10 before the first note."""
    notes: int
    """How many notes it has."""


class Track(NamedTuple):
    """One track of the file, playing or not."""

    index: int  # type: ignore[assignment]  # as above
    name: str
    """As written in the file; may be empty."""
    notes: int


class TempoChange(NamedTuple):
    """From this tick on, a beat lasts so many microseconds."""

    tick: int
    microseconds_per_beat: int


class MetreChange(NamedTuple):
    """From this tick on, bars are so many of such notes long; a new bar starts here."""

    tick: int
    numerator: int
    denominator: int


class KeyChange(NamedTuple):
    """From this tick on, so many sharps (positive) or flats (negative)."""

    tick: int
    sharps: int
    minor: bool


class Mark(NamedTuple):
    """A piece of text at a place: kind is one of `arranger.song.midi.messages.TEXTS`."""

    tick: int
    kind: str
    text: str


class Control(NamedTuple):
    """A controller that later stages look at (111: loop start, common practice, no source)."""

    tick: int
    channel: int
    number: int
    value: int


class Repair(NamedTuple):
    """Something in the file that was mended or passed over, and how."""

    place: str
    """Such as "track 2, byte 0x0041"."""
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Song:
    """One source file, as read. ``notes`` are in order of onset, then track, then file order."""

    title: str
    file: str
    """The file's name without folders."""
    sha256: str
    """Of the file's bytes."""
    kind: str
    """"midi", or the notation format that music21 read."""
    midi_format: int | None
    ticks_per_beat: int
    own_beat: bool
    """False when ticks are clock time (SMPTE division): then a beat is only a unit of time."""
    notes: Sequence[Note]
    """Always `Notes` once the song is made, whatever sequence it was made from."""
    parts: tuple[Part, ...]
    tracks: tuple[Track, ...]
    tempos: tuple[TempoChange, ...]
    """At least one; the first at tick 0. Strictly increasing ticks."""
    metres: tuple[MetreChange, ...]
    """At least one; the first at tick 0. Strictly increasing ticks."""
    metre_said: bool = True
    """False if the file says none, so that ``metres`` is only what is usual then."""
    keys: tuple[KeyChange, ...] = ()
    marks: tuple[Mark, ...] = ()
    controls: tuple[Control, ...] = ()
    repairs: tuple[Repair, ...] = ()
    remarks: tuple[str, ...] = ()
    """What a reader of the report should know about the reading (bends, encodings, patterns)."""

    def __post_init__(self) -> None:
        if not isinstance(self.notes, Notes):
            object.__setattr__(self, "notes", Notes(Columns.of(self.notes)))

    @property
    def columns(self) -> Columns:
        """The notes as columns: what whole songs are worked on with."""
        assert isinstance(self.notes, Notes)  # noqa: S101
        return self.notes.columns

    @property
    def end_tick(self) -> int:
        """The tick at which the last note ends; 0 for a song without notes."""
        return int(self.columns.end.max(initial=0))
