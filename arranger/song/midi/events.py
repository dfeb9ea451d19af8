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

from array import array
from collections import Counter, deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.compiled import compiled
from arranger.errors import LimitError
from arranger.song.midi.messages import (
    KEPT_METAS,
    LONGEST_EXCLUSIVE,
    TEXTS,
    message_at,
    message_of,
    read_messages,
)
from arranger.song.midi.syntax import END_OF_TRACK, PORT
from arranger.song.model import Control, KeyChange, Mark, Repair

if TYPE_CHECKING:
    from arranger.song.midi.messages import Message

_compiled = compiled("arranger.song.midi._events", "e05c6fd7")


@dataclass(slots=True)
class TrackNotes:
    """The notes of one track in the order of their onset, each a place in every column."""

    onset: array[int] = field(default_factory=lambda: array("q"))
    order: array[int] = field(default_factory=lambda: array("q"))
    """Which event of its track the start is."""
    key: array[int] = field(default_factory=lambda: array("q"))
    """``channel << 7 | pitch``."""
    velocity: array[int] = field(default_factory=lambda: array("q"))
    end: array[int] = field(default_factory=lambda: array("q"))
    """-1: it has none yet."""
    end_order: array[int] = field(default_factory=lambda: array("q"))
    """Which event of its track the end is."""

    def __len__(self) -> int:
        return len(self.onset)

    def start(self, tick: int, order: int, key: int, velocity: int) -> None:
        """Add a note; its end is filled in when it comes."""
        self.onset.append(tick)
        self.order.append(order)
        self.key.append(key)
        self.velocity.append(velocity)
        self.end.append(-1)
        self.end_order.append(order)


PROGRAM, BEND, BEND_RANGE, COARSE, DRUM, BANK, EXPRESSION_RESET = range(128, 135)
"""Codes of channel events beside the controllers 0..127.

Values: a program; -8192..8191; cents; semitones; whether the channel plays drums; a bank of 14 bits
that took effect; 127, the expression that reset-all-controllers sets. `BEND_RANGE` to `BANK` are worked
out in `arranger.song.midi.modes`.
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
_LOOP = 111
"""A controller that marks where a loop begins."""
RESET = 121
"""Reset all controllers: expression 127, bend in the middle, pedals up, no parameter selected; volume,
pan, bank and program stay (MIDI recommended practice RP-015)."""

_CHECKED = 0xFFF
"""The limit is looked at after so many events, so that a hostile track doesn't fill the memory."""

_MOST_PAUSES = 20
"""Pauses left out that are listed for each track."""

_TEXTS = frozenset(TEXTS.values())

_PASSED_OVER, _LISTED, _COUNTED, _CHANGES_PORT = range(4)
"""What becomes of a kind of event, as ``_events.c`` has it."""
_CONTROLLERS = bytes(_LISTED if code in {*_KEPT, _LOOP} else _PASSED_OVER for code in range(128))
_METAS = bytes(
    {PORT: _CHANGES_PORT, END_OF_TRACK: _COUNTED}.get(kind, _LISTED)
    if kind in KEPT_METAS
    else _PASSED_OVER
    for kind in range(128)
)


class TrackLimits(NamedTuple):
    """What a track may have."""

    notes: int
    events: int
    """Of all other kinds that are kept."""
    pause: int
    """Ticks between two events; a longer pause is damage and left out."""


@dataclass(slots=True)
class TrackEvents:
    """What one track holds. Channels are ``16 * port + channel``."""

    index: int
    start: int = 0
    """The tick at which the track starts (patterns of a format 2 file follow each other)."""
    end: int = 0
    notes: TrackNotes = field(default_factory=TrackNotes)
    events: list[ChannelEvent] = field(default_factory=list)
    exclusives: list[Exclusive] = field(default_factory=list)
    tempos: list[tuple[int, int]] = field(default_factory=list)
    metres: list[tuple[int, int, int]] = field(default_factory=list)
    keys: list[KeyChange] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    controls: list[Control] = field(default_factory=list)
    repairs: list[Repair] = field(default_factory=list)

    @property
    def others(self) -> int:
        """How many events are kept beside the notes."""
        lists = (self.events, self.exclusives, self.tempos, self.metres, self.keys, self.controls)
        return sum([len(kept) for kept in lists]) + len(self.marks)

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


class TrackBytes(NamedTuple):
    """The events of a track: bytes by the standard, up to and with its end-of-track event."""

    data: bytes
    start: int
    end: int


def track_events(
    index: int, track: TrackBytes, start: int, limits: TrackLimits, device: int = 0
) -> TrackEvents:
    """Gather one track.

    ``index``: of the track in the file, from 0.
    ``track``: its events.
    ``start``: tick at which the track starts.
    ``limits``: what the track may have.
    ``device``: number of the set of ports that it plays on; patterns of a format 2 file share
    nothing.

    Raises `LimitError` if there are more notes, or more events of another kind, than it may have.
    """
    found = TrackEvents(index, start)
    gather = gather_in_python if _compiled is None else _gather_compiled
    gather(found, track, limits, device)
    if found.others > limits.events:
        raise _too_much("events")
    _end_track(found)
    return found


def _gather_compiled(
    found: TrackEvents, track: TrackBytes, limits: TrackLimits, device: int
) -> None:
    """Gather a track, in C all but what events beside the notes say."""
    size = track.end - track.start
    # what fits into the track: a note that starts takes three bytes, another event two
    notes = np.empty((min(size // 3, limits.notes), 6), dtype=np.int64)
    others = np.empty((min(size // 2, limits.events), 4), dtype=np.int64)
    pauses = np.empty((_MOST_PAUSES, 2), dtype=np.int64)
    started, listed, left_out, found.end = _compiled.gather(
        track.data,
        _CONTROLLERS,
        _METAS,
        notes,
        others,
        pauses,
        track.start,
        track.end,
        found.start,
        device,
        limits.pause,
        LONGEST_EXCLUSIVE,
    )
    if started > len(notes):
        raise _too_much("notes")
    if listed > len(others):
        raise _too_much("events")
    found.notes = TrackNotes(*(array("q", column.tobytes()) for column in notes[:started].T))
    for tick, delta in pauses[:left_out].tolist():
        _note_pause(found, tick, delta)
    known: dict[int, Message] = {}
    for tick, order, port, code in others[:listed].tolist():
        if code < 0:
            message = message_at(track.data, -code)[0]
        elif code in known:
            message = known[code]
        else:
            message = known[code] = message_of(code.to_bytes(3))
        if message is not None:
            _file(found, tick, order, port, message)


def gather_in_python(
    found: TrackEvents, track: TrackBytes, limits: TrackLimits, device: int
) -> None:
    """Gather a track."""
    notes = found.notes
    begin, ends, end_orders = notes.start, notes.end, notes.end_order
    sounding: dict[int, deque[int]] = {}
    tick = found.start
    port = first_port = device << 11
    room, room_for_others, longest_pause = limits
    for order, (delta, message) in enumerate(read_messages(*track)):
        kind, own_channel, number, value = message
        tick += delta
        if delta > longest_pause:
            tick -= delta
            _note_pause(found, tick, delta)
        if kind == "note_on" or kind == "note_off":
            key = (port | own_channel) << 7 | number
            if kind == "note_on" and value:
                place = len(ends)
                if place >= room:
                    raise _too_much("notes")
                begin(tick, order, key, value)
                if key in sounding:
                    sounding[key].append(place)
                else:
                    sounding[key] = deque((place,))
            elif sounding.get(key):
                place = sounding[key].popleft()
                ends[place] = tick
                end_orders[place] = order
            continue
        if kind == "midi_port":
            port = first_port | (value & 0x7F) << 4
        else:
            _file(found, tick, order, port, message)
            if kind == "control_change" and (number == 120 or number >= 123):
                _end_channel(notes, sounding, port | own_channel, tick, order)
        if order & _CHECKED == 0 and found.others > room_for_others:
            raise _too_much("events")
    found.end = tick


def _file(found: TrackEvents, tick: int, order: int, port: int, message: Message) -> None:
    """File an event that is no note."""
    if message.kind == "sysex":
        found.exclusives.append((tick, found.index, order, port, message.value))
    elif message.channel < 0:
        _meta(found, tick, message)
    else:
        _channel_event(found, tick, order, port | message.channel, message)


def _channel_event(
    found: TrackEvents, tick: int, order: int, channel: int, message: Message
) -> None:
    """File a channel event that decides how notes sound."""
    index = found.index
    kind, own_channel, number, value = message
    if kind == "control_change":
        code = number
        if code == _LOOP:
            found.controls.append(Control(tick, own_channel, code, value))
        if code == RESET:
            found.events.append((tick, -1, order, index, channel, EXPRESSION_RESET, 127))
        if code not in _KEPT:
            return
    elif kind == "program_change":
        code, value = PROGRAM, number
    elif kind == "pitchwheel":
        code = BEND
    else:
        return
    place = -1 if code in _AT_ONCE else index
    found.events.append((tick, place, order, index, channel, code, value))


def _note_pause(found: TrackEvents, tick: int, delta: int) -> None:
    if len(found.repairs) < _MOST_PAUSES:
        place = f"track {found.index + 1}, tick {tick}"
        found.repairs.append(Repair(place, f"a pause of {delta:,} ticks: left out"))


def _too_much(what: str) -> LimitError:
    return LimitError(f"more {what} than the limit allows", remedy="raise it with --max-notes")


def _meta(found: TrackEvents, tick: int, message: Message) -> None:
    """File a meta event that later stages look at."""
    if message.kind in _TEXTS:
        found.marks.append(Mark(tick, message.kind, message.value))
    elif message.kind == "set_tempo":
        found.tempos.append((tick, message.value))
    elif message.kind == "time_signature":
        found.metres.append((tick, *message.value))
    elif message.kind == "key_signature":
        found.keys.append(KeyChange(tick, *message.value))


def _end_channel(
    notes: TrackNotes, sounding: dict[int, deque[int]], channel: int, tick: int, order: int
) -> None:
    """End the open notes of a channel."""
    for key in range(channel << 7, (channel + 1) << 7):
        for place in sounding.pop(key, ()):
            notes.end[place] = tick
            notes.end_order[place] = order


def _end_track(found: TrackEvents) -> None:
    """Give an end to the notes that have none; see rule 3 of the module."""
    notes = zip(found.notes.key, found.notes.end, strict=True)
    open_keys = Counter(key for key, end in notes if end < 0)
    if not open_keys:
        return
    by_key: dict[int, list[int]] = {key: [] for key in open_keys}
    for place, key in enumerate(found.notes.key):
        if key in by_key:
            by_key[key].append(place)
    for key, places in by_key.items():
        _end_unfinished(found.notes, places, open_keys[key], found.end)
    lost = sum(open_keys.values())
    place_name = f"track {found.index + 1}, tick {found.end}"
    what = f"{lost} notes had no end" if lost > 1 else "1 note had no end"
    found.repairs.append(
        Repair(place_name, f"{what}: ended at the next note of that pitch or the end of the track")
    )


def _end_unfinished(notes: TrackNotes, places: list[int], lost: int, track_end: int) -> None:
    """End the notes of one pitch, of which the last ``lost`` have no end yet."""
    first = len(places) - lost
    while first > 0 and notes.end[places[first - 1]] > notes.onset[places[first]]:
        first -= 1
    own = deque((notes.end[p], notes.end_order[p]) for p in places[first : len(places) - lost])
    for index in range(first, len(places)):
        place = places[index]
        onset = notes.onset[place]
        while own and own[0][0] <= onset:
            own.popleft()
        # A pedal pressed where the track ends holds none of the notes that it left open.
        end = own[0] if own else (track_end, -1)
        if index + 1 < len(places):
            after = places[index + 1]
            end = min(end, (max(notes.onset[after], onset), notes.order[after]))
        notes.end[place], notes.end_order[place] = end
