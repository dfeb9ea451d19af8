"""One pass over the messages of a track: notes with their ends, and everything else by its tick.

Note pairing
------------
1. An end belongs to the earliest open note of the same track, channel and pitch (first in, first
   out). The Standard MIDI File leaves this open; equal pitches may overlap.
2. A note-on with velocity 0 is an end (MIDI 1.0). An end without a start is passed over.
3. When at the end of the track more notes were started than ended, the overlap is taken for a lost
   end: each note of that unfinished stretch ends at its own end, the next start of its pitch, or
   the end of the track, whichever comes first.
4. All-notes-off and its relatives (controllers 120, 123..127) end the open notes of their channel.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.errors import LimitError
from arranger.song.model import Control, KeyChange, Mark, Repair

if TYPE_CHECKING:
    from collections.abc import Iterable

ONSET, TRACK, ORDER, CHANNEL, PITCH, VELOCITY, END = range(7)
"""Places in a raw note. Raw notes are lists: their end is filled in when it comes."""

RawNote = list[int]

PROGRAM, BEND, BEND_RANGE, COARSE, DRUM, BANK = range(128, 134)
"""Codes of channel events beside the controllers 0..127.

Values: a program; -8192..8191; cents; semitones; whether the channel plays drums; a bank of 14 bits
that took effect. All but the first two are worked out in `arranger.song.modes`.
"""

ChannelEvent = tuple[int, int, int, int, int, int, int]
"""Tick, place, order in the track, track, channel, code, value.

Sorts into playing order: the place is the track, but -1 for volume, pan and expression, since these
reach the notes that start on their tick, wherever they stand in the file.
"""

Exclusive = tuple[int, int, int, int, tuple[int, ...]]
"""Tick, track, order in the track, first channel of its port, data between F0 and F7."""

_KEPT = frozenset((0, 6, 7, 10, 11, 32, 38, 64, 66, *range(98, 102), 120, 121, *range(123, 128)))
"""The controllers that decide how a note sounds."""

_AT_ONCE = frozenset((7, 10, 11))

_MOST_PAUSES = 20
"""Pauses left out that are listed for each track."""

_MAJOR = ["Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#"]
_MINOR = [
    "Abm",
    "Ebm",
    "Bbm",
    "Fm",
    "Cm",
    "Gm",
    "Dm",
    "Am",
    "Em",
    "Bm",
    "F#m",
    "C#m",
    "G#m",
    "D#m",
    "A#m",
]
_KEYS = {name: (index - 7, False) for index, name in enumerate(_MAJOR)} | {
    name: (index - 7, True) for index, name in enumerate(_MINOR)
}

_TEXT = {
    "text": "text",
    "copyright": "text",
    "track_name": "name",
    "instrument_name": "name",
    "lyrics": "text",
    "marker": "text",
    "cue_marker": "text",
    "device_name": "name",
}


class Limits(NamedTuple):
    """What a track may have."""

    notes: int
    """Also the limit for events of any other kind."""
    pause: int
    """Ticks between two events; a longer pause is damage and left out."""


@dataclass(slots=True)
class TrackEvents:
    """What one track holds. Channels are ``16 * port + channel``."""

    index: int
    start: int = 0
    """The tick at which the track starts (patterns of a format 2 file follow each other)."""
    end: int = 0
    notes: list[RawNote] = field(default_factory=list)
    """In order of their onset."""
    events: list[ChannelEvent] = field(default_factory=list)
    exclusives: list[Exclusive] = field(default_factory=list)
    tempos: list[tuple[int, int]] = field(default_factory=list)
    metres: list[tuple[int, int, int]] = field(default_factory=list)
    keys: list[KeyChange] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    controls: list[Control] = field(default_factory=list)
    repairs: list[Repair] = field(default_factory=list)

    @property
    def name(self) -> str:
        """The first track name that isn't empty."""
        return self._first("track_name")

    @property
    def instrument(self) -> str:
        """The first instrument name that isn't empty."""
        return self._first("instrument_name")

    def _first(self, kind: str) -> str:
        return next((m.text for m in self.marks if m.kind == kind and m.text.strip()), "")


def track_events(
    index: int,
    messages: Iterable[tuple[int, Any]],
    start: int,
    limits: Limits,
    device: int = 0,
) -> TrackEvents:
    """Gather one track.

    Parameters
    ----------
    index
        Of the track in the file, from 0.
    messages
        Delta times in ticks, and mido's messages.
    start
        Tick at which the track starts.
    limits
        What the track may have.
    device
        Number of the set of ports that it plays on; patterns of a format 2 file share nothing.

    Raises
    ------
    LimitError
        If there are more notes, or more events of another kind, than it may have.
    """
    found = TrackEvents(index, start)
    notes = found.notes
    events = found.events
    sounding: dict[int, deque[RawNote]] = {}
    tick = start
    port = first_port = device << 11
    room, longest_pause = limits
    for order, (delta, message) in enumerate(messages):
        kind = message.type
        tick += delta
        if delta > longest_pause:
            tick -= delta
            _note_pause(found, tick, delta)
        if kind == "note_on" or kind == "note_off":
            channel = port | message.channel
            pitch = message.note
            key = channel << 7 | pitch
            if kind == "note_on" and message.velocity:
                if len(notes) >= room:
                    raise _too_much("notes")
                note = [tick, index, order, channel, pitch, message.velocity, -1]
                notes.append(note)
                if key in sounding:
                    sounding[key].append(note)
                else:
                    sounding[key] = deque((note,))
            elif sounding.get(key):
                sounding[key].popleft()[END] = tick
        elif kind == "control_change":
            code = message.control
            channel = port | message.channel
            if code in _KEPT:
                place = -1 if code in _AT_ONCE else index
                events.append((tick, place, order, index, channel, code, message.value))
            if code == 111:
                found.controls.append(Control(tick, message.channel, code, message.value))
            elif code == 120 or code >= 123:
                _end_channel(sounding, channel, tick)
        elif kind == "program_change":
            channel = port | message.channel
            events.append((tick, index, order, index, channel, PROGRAM, message.program))
        elif kind == "pitchwheel":
            channel = port | message.channel
            events.append((tick, index, order, index, channel, BEND, message.pitch))
        elif kind == "midi_port":
            port = first_port | (message.port & 0x7F) << 4
        elif kind == "sysex":
            found.exclusives.append((tick, index, order, port, tuple(message.data)))
        else:
            _meta(found, tick, message)
    found.end = tick
    if max(len(events), len(found.marks), len(found.exclusives)) > room:
        raise _too_much("events")
    _end_track(found, sounding)
    return found


def _note_pause(found: TrackEvents, tick: int, delta: int) -> None:
    if len(found.repairs) < _MOST_PAUSES:
        place = f"track {found.index + 1}, tick {tick}"
        found.repairs.append(Repair(place, f"a pause of {delta:,} ticks: left out"))


def _too_much(what: str) -> LimitError:
    return LimitError(f"more {what} than the limit allows", remedy="raise it with --max-notes")


def _meta(found: TrackEvents, tick: int, message: Any) -> None:
    """File a meta event that later stages look at."""
    kind = message.type
    if kind in _TEXT:
        found.marks.append(Mark(tick, kind, getattr(message, _TEXT[kind])))
    elif kind == "set_tempo":
        found.tempos.append((tick, message.tempo))
    elif kind == "time_signature":
        found.metres.append((tick, message.numerator, message.denominator))
    elif kind == "key_signature":
        found.keys.append(KeyChange(tick, *_KEYS[message.key]))


def _end_channel(sounding: dict[int, deque[RawNote]], channel: int, tick: int) -> None:
    """End the open notes of a channel."""
    for key in range(channel << 7, (channel + 1) << 7):
        for note in sounding.pop(key, ()):
            note[END] = tick


def _end_track(found: TrackEvents, sounding: dict[int, deque[RawNote]]) -> None:
    """Give an end to the notes that have none; see rule 3 of the module."""
    open_keys = {key for key, waiting in sounding.items() if waiting}
    if not open_keys:
        return
    by_key: dict[int, list[RawNote]] = {key: [] for key in open_keys}
    for note in found.notes:
        key = note[CHANNEL] << 7 | note[PITCH]
        if key in by_key:
            by_key[key].append(note)
    for key, notes in by_key.items():
        _end_unfinished(notes, len(sounding[key]), found.end)
    lost = sum(len(sounding[key]) for key in open_keys)
    place = f"track {found.index + 1}, tick {found.end}"
    what = f"{lost} notes had no end" if lost > 1 else "1 note had no end"
    found.repairs.append(
        Repair(place, f"{what}: ended at the next note of that pitch or the end of the track")
    )


def _end_unfinished(notes: list[RawNote], lost: int, track_end: int) -> None:
    """End the notes of one pitch, of which the last ``lost`` have no end yet."""
    first = len(notes) - lost
    while first > 0 and notes[first - 1][END] > notes[first][ONSET]:
        first -= 1
    ends = deque(note[END] for note in notes[first : len(notes) - lost])
    for index in range(first, len(notes)):
        note = notes[index]
        while ends and ends[0] <= note[ONSET]:
            ends.popleft()
        own = ends[0] if ends else track_end
        following = notes[index + 1][ONSET] if index + 1 < len(notes) else own
        note[END] = min(own, max(following, note[ONSET]))
