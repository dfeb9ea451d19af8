"""One sweep in playing order: which program, volume and tuning each note plays with, and its part.

Conventions
-----------
1. A track's own program change, volume and so on rule its notes. Those of other tracks on the same
   channel count only where the track has none of that kind: exporters that put every track on one
   channel mean it so, and files that keep all set-up events in one track are still read right.
2. Volume is 100 and expression 127 until set (General MIDI Level 1 defaults).
3. Parts are numbered in the order in which they first sound.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from dataclasses import dataclass, field
from math import inf
from typing import TYPE_CHECKING

from arranger.song.events import BANK, COARSE, DRUM, PROGRAM
from arranger.song.general_midi import PERCUSSION_CHANNEL
from arranger.song.model import Note

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from arranger.song.events import ChannelEvent, RawNote

_VOLUME, _PAN, _EXPRESSION = 7, 10, 11
CODES = frozenset((_VOLUME, _PAN, _EXPRESSION, PROGRAM, COARSE, DRUM, BANK))
"""The channel events that this module looks at."""

_MOST_STEPS = 256
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
    sound: tuple[int, bool, int, float] = (-1, False, 0, 0.0)
    """Part, whether it is drums, semitones of tuning, loudness per velocity."""

    def value(self, code: int, default: int | None = None) -> int:
        """Return the setting that rules this track now."""
        values = self.own if code in self.own_codes else self.channel.values
        return values.get(code, _DEFAULTS[code] if default is None else default)


def sweep(
    notes: Iterable[RawNote],
    events: Sequence[ChannelEvent],
    drum_channels: tuple[int, ...] | None,
) -> tuple[list[Note], list[PartDraft]]:
    """Turn raw notes into notes, and find the parts.

    Parameters
    ----------
    notes
        In order of onset, track and file order; all with an end.
    events
        Channel events with a code in `CODES`, in playing order.
    drum_channels
        Channels 1..16 that play drums; None: channel 10, and what `DRUM` events say.
    """
    own_codes: dict[tuple[int, int], set[int]] = {}
    for event in events:
        own_codes.setdefault((event[3], event[4]), set()).add(event[5])
    channels: dict[int, _Channel] = {}
    strips: dict[tuple[int, int], _Strip] = {}
    parts = _Parts(drum_channels)
    found: list[Note] = []
    append = found.append
    silent: list[tuple[int, int, int, int]] = []
    place = 0
    following = events[0] if events else None
    next_tick = following[0] if following is not None else inf
    make = tuple.__new__
    for number, (onset, track, order, channel, pitch, velocity, end) in enumerate(notes):
        while next_tick <= onset and following is not None and following < (onset, track, order):
            _apply(following, channels)
            place += 1
            following = events[place] if place < len(events) else None
            next_tick = following[0] if following is not None else inf
        strip = strips.get((track, channel))
        if strip is None:
            state = channels.setdefault(channel, _Channel())
            own = state.by_track.setdefault(track, {})
            strip = _Strip(state, own_codes.get((track, channel), set()), own)
            strips[track, channel] = strip
        if strip.version != strip.channel.version:
            _look_up(strip, track, channel, parts)
        part, drum, shift, loudness_per_velocity = strip.sound
        if shift and not 0 <= pitch + shift <= 127:
            shift = 0
        if not loudness_per_velocity:
            silent.append((number, channel, strip.value(_VOLUME), strip.value(_EXPRESSION)))
        # tuple.__new__ is what Note(...) comes to; without the call between it takes half the time.
        fields = (
            number,
            part,
            track,
            channel & 15,
            onset,
            end - onset,
            pitch + shift,
            velocity,
            velocity * loudness_per_velocity,
            drum,
            shift,
        )
        append(make(Note, fields))
    if silent:
        _fade_in(found, silent, events)
    for index, count in Counter([note.part for note in found]).items():
        parts.drafts[index].notes = count
    return found, parts.drafts


def _look_up(strip: _Strip, track: int, channel: int, parts: _Parts) -> None:
    """Bring what a strip looked up last up to date."""
    strip.version = strip.channel.version
    part = parts.find(track, channel, strip)
    drum = parts.drafts[part].drum
    shift = 0 if drum else strip.value(COARSE)
    strip.sound = (part, drum, shift, strip.value(_VOLUME) * strip.value(_EXPRESSION) / 127**3)


def _fade_in(
    notes: list[Note], silent: Iterable[tuple[int, int, int, int]], events: Sequence[ChannelEvent]
) -> None:
    """Give notes that start silent the greatest loudness that they reach while they sound.

    Each silent note comes as its index, channel, and volume and expression at its onset. Only the
    first `_MOST_STEPS` changes within a note are looked at.
    """
    faders: dict[int, list[ChannelEvent]] = {}
    for event in events:
        if event[5] in {_VOLUME, _EXPRESSION}:
            faders.setdefault(event[4], []).append(event)
    for index, channel, volume, expression in silent:
        note = notes[index]
        moves = faders.get(channel, [])
        first = bisect_right(moves, (note.onset, inf))
        greatest = 0
        for tick, *_, code, value in moves[first : first + _MOST_STEPS]:
            if tick >= note.onset + note.duration:
                break
            volume, expression = (value, expression) if code == _VOLUME else (volume, value)
            greatest = max(greatest, volume * expression)
        notes[index] = note._replace(loudness=note.velocity * greatest / 127**3)


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
    state.version += 1
    state.values[code] = value
    state.by_track.setdefault(track, {})[code] = value
