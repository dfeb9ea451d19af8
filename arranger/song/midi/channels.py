"""One sweep in playing order: which program, volume and tuning each note plays with, and its part.

Conventions
-----------
1. A track's own program change, volume and so on rule its notes. Those of other tracks on the same
   channel count only where the track has none of that kind: exporters that put every track on one
   channel mean it so, and files that keep all set-up events in one track are still read right.
2. Volume is 100 and expression 127 until set (General MIDI Level 1 defaults).
3. Parts are numbered in the order in which they first sound.
4. Reset-all-controllers puts the expression of its channel back, for its own track and for those that
   set none themselves.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field, replace
from math import inf
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.song.general_midi import PERCUSSION_CHANNEL
from arranger.song.midi.events import BANK, COARSE, DRUM, EXPRESSION_RESET, PROGRAM
from arranger.song.notes import Columns

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.columns import Ints
    from arranger.song.midi.events import ChannelEvent
    from arranger.song.midi.raw import RawNotes

_VOLUME, _PAN, _EXPRESSION = 7, 10, 11
CODES = frozenset((_VOLUME, _PAN, _EXPRESSION, PROGRAM, COARSE, DRUM, BANK, EXPRESSION_RESET))
"""The channel events that this module looks at."""

_MOST_STEPS = 256
_AT_A_TIME = 4096
_FADERS = {_VOLUME: _VOLUME, _EXPRESSION: _EXPRESSION, EXPRESSION_RESET: _EXPRESSION}
_DEFAULTS = {_VOLUME: 100, _PAN: 64, _EXPRESSION: 127, PROGRAM: 0, COARSE: 0, BANK: 0}


@dataclass(slots=True)
class PartDraft:
    """A part while its notes are counted."""

    track: int
    channel: int
    program: int
    bank: int
    drum: bool
    pan: int
    named: bool
    """Whether a program change chose the program."""
    notes: int = 0


class _Sound(NamedTuple):
    """What a strip sounds like at a moment."""

    part: int
    shift: int
    """Semitones of tuning."""
    volume: int
    expression: int


@dataclass(slots=True)
class _Channel:
    """What has been set on a channel so far, by any track and by each."""

    version: int = 0
    values: dict[int, int] = field(default_factory=dict)
    by_track: dict[int, dict[int, int]] = field(default_factory=dict)


@dataclass(slots=True)
class _Strip:
    """One track on one channel, and what it looked up last."""

    channel: _Channel
    own_codes: set[int]
    """The kinds of event that the track itself has on this channel, anywhere."""
    own: dict[int, int]
    version: int = -1
    sound: int = -1
    """Index of the `_Sound`."""

    def value(self, code: int, default: int | None = None) -> int:
        """Return the setting that rules this track now."""
        values = self.own if code in self.own_codes else self.channel.values
        return values.get(code, _DEFAULTS[code] if default is None else default)


def gather_notes(
    notes: RawNotes, events: Sequence[ChannelEvent], drum_channels: tuple[int, ...] | None
) -> tuple[Columns, list[PartDraft]]:
    """Turn raw notes into notes, and find the parts.

    ``notes``: in order of onset, track and file order; all with an end.
    ``events``: channel events with a code in `CODES`, in playing order.
    ``drum_channels``: channels 1..16 that play drums; None: channel 10, and what `DRUM` events say.
    """
    owned = _owned(events)
    channels: dict[int, _Channel] = {}
    strips: dict[tuple[int, int], _Strip] = {}
    parts = _Parts(drum_channels)
    numbers: dict[_Sound, int] = {}
    sounds = array("q")
    append = sounds.append
    place = 0
    following = events[0] if events else None
    next_tick = following[0] if following is not None else inf
    for onset, track, order, channel in _rows(notes):
        while next_tick <= onset and following is not None and following < (onset, track, order):
            _apply(following, channels)
            place += 1
            following = events[place] if place < len(events) else None
            next_tick = following[0] if following is not None else inf
        strip = strips.get((track, channel))
        if strip is None:
            state = channels.setdefault(channel, _Channel())
            own = state.by_track.setdefault(track, {})
            strip = _Strip(state, owned.get((track, channel), set()), own)
            strips[track, channel] = strip
        if strip.version != strip.channel.version:
            strip.version = strip.channel.version
            sound = _look_up(strip, track, channel, parts)
            strip.sound = numbers.setdefault(sound, len(numbers))
        append(strip.sound)
    columns = _columns(notes, np.array(list(numbers), np.int64).reshape(-1, 4), sounds, parts)
    for draft, count in zip(parts.drafts, np.bincount(columns.part).tolist(), strict=True):
        draft.notes = count
    if not np.all(columns.loudness):
        columns = _fade_in(columns, notes, events, owned)
    return columns, parts.drafts


def _rows(notes: RawNotes) -> Iterator[tuple[int, int, int, int]]:
    """Yield onset, track, order and channel of each note; not all at once, to save memory."""
    columns = (notes.onset, notes.track, notes.order, notes.channel)
    for start in range(0, len(notes), _AT_A_TIME):
        end = start + _AT_A_TIME
        yield from zip(*(column[start:end].tolist() for column in columns), strict=True)


def _owned(events: Sequence[ChannelEvent]) -> dict[tuple[int, int], set[int]]:
    """Return the kinds of event that each track itself has on each channel, anywhere."""
    found: dict[tuple[int, int], set[int]] = {}
    for event in events:
        found.setdefault((event[3], event[4]), set()).add(event[5])
    return found


def _look_up(strip: _Strip, track: int, channel: int, parts: _Parts) -> _Sound:
    part = parts.find(track, channel, strip)
    shift = 0 if parts.drafts[part].drum else strip.value(COARSE)
    return _Sound(part, shift, strip.value(_VOLUME), strip.value(_EXPRESSION))


def _columns(notes: RawNotes, sounds: Ints, sound: array[int], parts: _Parts) -> Columns:
    """Return the notes as they sound; row ``sound[i]`` of ``sounds`` is note i's `_Sound`."""
    part, shift, volume, expression = sounds[np.asarray(sound, np.int64)].T
    moved = notes.pitch + shift
    shift = np.where((moved < 0) | (moved > 127), 0, shift)
    drums = np.array([draft.drum for draft in parts.drafts], dtype=np.bool_)
    return Columns(
        part=part.copy(),
        track=notes.track,
        channel=notes.channel & 15,
        onset=notes.onset,
        duration=notes.end - notes.onset,
        pitch=notes.pitch + shift,
        velocity=notes.velocity,
        loudness=notes.velocity * (volume * expression / 127**3),
        drum=drums[part],
        shift=shift,
        rings=notes.rings,
    )


def _fade_in(
    columns: Columns,
    raw: RawNotes,
    events: Sequence[ChannelEvent],
    owned: dict[tuple[int, int], set[int]],
) -> Columns:
    """Give notes that start silent the greatest loudness that they reach while they sound.

    Only the first `_MOST_STEPS` changes within a note are looked at.
    """
    moves: dict[int, list[ChannelEvent]] = {}
    for event in events:
        if event[5] in _FADERS:
            moves.setdefault(event[4], []).append(event)
    strips: dict[tuple[int, int], list[tuple[int, int]]] = {}
    loudness = columns.loudness.copy()
    for index in np.flatnonzero(loudness == 0).tolist():
        key = int(raw.track[index]), int(raw.channel[index])
        if key not in strips:
            own = owned.get(key, set())
            strips[key] = _levels(moves.get(key[1], []), key[0], own)
        levels = strips[key]
        first = bisect_right(levels, (int(raw.onset[index]), inf))
        end = bisect_left(levels, (int(raw.end[index]),), first, len(levels))
        reached = [level for _tick, level in levels[first : min(end, first + _MOST_STEPS)]]
        loudness[index] = raw.velocity[index] * max(reached, default=0) / 127**3
    return replace(columns, loudness=loudness)


def _levels(
    moves: Sequence[ChannelEvent], track: int, own_codes: set[int]
) -> list[tuple[int, int]]:
    """Return volume times expression of a track after each move on its channel that rules it."""
    values = dict(_DEFAULTS)
    found: list[tuple[int, int]] = []
    for tick, _place, _order, mover, _channel, code, value in moves:
        kind = _FADERS[code]
        if mover == track or kind not in own_codes:
            values[kind] = value
            found.append((tick, values[_VOLUME] * values[_EXPRESSION]))
    return found


@dataclass(slots=True)
class _Parts:
    """The parts found so far."""

    drum_channels: tuple[int, ...] | None
    drafts: list[PartDraft] = field(default_factory=list)
    indices: dict[tuple[int, int, int, int, bool], int] = field(default_factory=dict)

    def find(self, track: int, channel: int, strip: _Strip) -> int:
        """Return the index of the part that a strip plays now."""
        program = strip.value(PROGRAM)
        number = channel & 15
        if self.drum_channels is None:
            drum = bool(strip.value(DRUM, number == PERCUSSION_CHANNEL))
        else:
            drum = number + 1 in self.drum_channels
        bank = strip.value(BANK)
        key = (track, channel, program, bank, drum)
        if key not in self.indices:
            self.indices[key] = len(self.drafts)
            self.drafts.append(
                PartDraft(
                    track=track,
                    channel=number,
                    program=program,
                    bank=bank,
                    drum=drum,
                    pan=strip.value(_PAN),
                    named=PROGRAM in strip.channel.values,
                )
            )
        return self.indices[key]


def _apply(event: ChannelEvent, channels: dict[int, _Channel]) -> None:
    """Note a setting down for its channel and its track."""
    _tick, _place, _order, track, channel, code, value = event
    state = channels.setdefault(channel, _Channel())
    if code == EXPRESSION_RESET:
        code = _EXPRESSION
    state.version += 1
    state.values[code] = value
    state.by_track.setdefault(track, {})[code] = value
