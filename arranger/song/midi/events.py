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
from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import LimitError
from arranger.song.midi.messages import TEXTS
from arranger.song.model import Control, KeyChange, Mark, Repair

if TYPE_CHECKING:
    from collections.abc import Iterable

    from arranger.song.midi.messages import Message


@dataclass(slots=True)
class TrackNotes:
    """The notes of one track in the order of their onset, each a place in every array."""

    onset: array[int] = field(default_factory=lambda: array("q"))
    order: array[int] = field(default_factory=lambda: array("q"))
    """Which event of its track the start is."""
    key: array[int] = field(default_factory=lambda: array("q"))
    """``channel << 7 | pitch``."""
    velocity: array[int] = field(default_factory=lambda: array("q"))
    end: array[int] = field(default_factory=lambda: array("q"))
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
RESET = 121
"""Reset all controllers: expression 127, bend in the middle, pedals up, no parameter selected; volume,
pan, bank and program stay (MIDI recommended practice RP-015)."""

_CHECKED = 0xFFF
"""The limit is looked at after so many events, so that a hostile track doesn't fill the memory."""

_MOST_PAUSES = 20
"""Pauses left out that are listed for each track."""

_TEXTS = frozenset(TEXTS.values())


class Limits(NamedTuple):
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


def track_events(
    index: int,
    messages: Iterable[tuple[int, Message]],
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
        Delta times in ticks, and messages.
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
    begin, ends, end_orders = notes.start, notes.end, notes.end_order
    sounding: dict[int, deque[int]] = {}
    tick = start
    port = first_port = device << 11
    room, room_for_others, longest_pause = limits
    for order, (delta, message) in enumerate(messages):
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
        elif kind == "sysex":
            found.exclusives.append((tick, index, order, port, value))
        elif own_channel < 0:
            _meta(found, tick, message)
        else:
            channel = port | own_channel
            _channel_event(found, tick, order, channel, message)
            if kind == "control_change" and (number == 120 or number >= 123):
                _end_channel(notes, sounding, channel, tick, order)
        if order & _CHECKED == 0 and found.others > room_for_others:
            raise _too_much("events")
    found.end = tick
    if found.others > room_for_others:
        raise _too_much("events")
    _end_track(found, sounding)
    return found


def _channel_event(
    found: TrackEvents, tick: int, order: int, channel: int, message: Message
) -> None:
    """File a channel event that decides how notes sound."""
    index = found.index
    kind, own_channel, number, value = message
    if kind == "control_change":
        code = number
        if code == 111:
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


def _end_track(found: TrackEvents, sounding: dict[int, deque[int]]) -> None:
    """Give an end to the notes that have none; see rule 3 of the module."""
    open_keys = {key: len(waiting) for key, waiting in sounding.items() if waiting}
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
