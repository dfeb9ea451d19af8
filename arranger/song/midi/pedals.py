"""Pedals and silencing: where a note really ends after its key was released.

Per channel, over all tracks that play on it (MIDI 1.0, controllers):

- Sostenuto (66) holds the notes whose key is down when it is pressed.
- Sustain (64) holds every note whose key is released while it is down. A note held by a pedal ends
  at the latest where its pitch is struck again.
- All-notes-off and its relatives (123..127) release the keys; all-sound-off (120) also silences
  what the pedals hold. Reset-all-controllers (121) lifts the pedals.

What a pedal holds through many harmonies ends earlier: see `arranger.song.midi.held_pedals`.

A pedal is down from value 64 on. What happens on one tick happens in playing order: a pedal pressed
after a key was released doesn't hold its note.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.song.midi.events import RESET
from arranger.song.midi.held_pedals import end_with_harmony
from arranger.song.midi.raw import events_before

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Ints
    from arranger.song.midi.events import ChannelEvent
    from arranger.song.midi.held_pedals import HeldPedal
    from arranger.song.midi.raw import RawNotes

_SUSTAIN, _SOSTENUTO = 64, 66
_SOUND_OFF, _NOTES_OFF = 120, 123
_NEVER = np.iinfo(np.int64).max

CODES = frozenset((_SUSTAIN, _SOSTENUTO, _SOUND_OFF, RESET, *range(_NOTES_OFF, 128)))
"""The controllers that this module looks at."""


def move_ends(
    notes: RawNotes,
    events: Sequence[ChannelEvent],
    end_tick: int,
    ticks_per_beat: int,
    *,
    sustain: bool,
) -> list[HeldPedal]:
    """Move the ends of raw notes to where pedals and silencing put them.

    Returns the pedals that are held through many harmonies.

    ``notes``: all raw notes; their ends, and how long they ring, are changed in place.
    ``events``: all channel events with a code in `CODES`, in playing order.
    ``end_tick``: where a pedal is lifted that never comes up.
    ``sustain``: false: pedals are left out of account, silencing is not.
    """
    by_channel: dict[int, list[ChannelEvent]] = {}
    for event in events:
        by_channel.setdefault(event[4], []).append(event)
    held = []
    for channel, channel_events in by_channel.items():
        played = np.flatnonzero(notes.channel == channel)
        if len(played):
            _move_channel(notes, played, channel_events, end_tick, sustain)
            spans = _spans(channel_events, end_tick) if sustain else []
            held += end_with_harmony(notes, played, spans, ticks_per_beat)
    return held


def _move_channel(
    notes: RawNotes, played: Ints, events: list[ChannelEvent], end_tick: int, sustain: bool
) -> None:
    """Move the ends of the notes of one channel; ``played`` are their places."""
    onset, track = notes.onset[played], notes.track[played]
    key_end = notes.end[played]
    # Where the key comes up, as the number of events before.
    up = events_before(events, key_end, track, notes.end_order[played])
    tick, release = _first_after(events, onset, {_SOUND_OFF, *range(_NOTES_OFF, 128)})
    up = np.where(tick < key_end, release, up)
    key_end = np.minimum(tick, key_end)
    end = key_end
    if sustain:
        lifted, lift = _lifts(events, _SOSTENUTO, end_tick)
        down = events_before(events, onset, track, notes.order[played])
        # The pedal is down as the key comes up, and was pressed while it was down.
        held = (_presses(events, _SOSTENUTO)[up] >= down) & (lifted[up] >= 0)
        end = np.where(held, lifted[up], end)
        up = np.where(held, lift[up], up)
        end = np.maximum(end, _lifts(events, _SUSTAIN, end_tick)[0][up])
        held_by_pedal = np.maximum(
            key_end, np.minimum(end, _next_onset(onset, notes.pitch[played]))
        )
        end = np.where(end > key_end, held_by_pedal, end)
    silence, _place = _first_after(events, onset, {_SOUND_OFF})
    notes.end[played] = np.minimum(silence, end)
    notes.rings[played] = notes.end[played] - np.minimum(key_end, notes.end[played])


def _first_after(events: Sequence[ChannelEvent], ticks: Ints, codes: set[int]) -> tuple[Ints, Ints]:
    """Return tick and place of the first event of some kinds later than each tick; or `_NEVER`."""
    places = [place for place, event in enumerate(events) if event[5] in codes]
    at = np.array([*(events[place][0] for place in places), _NEVER], dtype=np.int64)
    first = np.searchsorted(at[:-1], ticks, side="right")
    return at[first], np.array([*places, len(events)], dtype=np.int64)[first]


def _presses(events: Sequence[ChannelEvent], code: int) -> Ints:
    """Return the place of the last press of a pedal among the first so many events; -1: none."""
    down = False
    found = [-1]
    for place, event in enumerate(events):
        pressed = down
        if event[5] in (code, RESET):
            pressed = event[5] == code and event[6] >= 64
        found.append(place if pressed and not down else found[-1])
        down = pressed
    return np.array(found, dtype=np.int64)


def _lifts(events: Sequence[ChannelEvent], code: int, end_tick: int) -> tuple[Ints, Ints]:
    """Return when a pedal that is down after the first so many events comes up.

    Two arrays of shape (events + 1,): the tick, or -1 where the pedal is up, and how many events
    there are up to and with the one that lifts it.
    """
    states = [False]
    for event in events:
        if event[5] in (code, RESET):
            states.append(event[5] == code and event[6] >= 64)
        else:
            states.append(states[-1])
    ticks, counts = [-1] * len(states), [len(events)] * len(states)
    lift = (end_tick, len(events))
    for place in reversed(range(len(states))):
        if states[place]:
            ticks[place], counts[place] = lift
        else:
            lift = (events[place - 1][0], place)
    return np.array(ticks, dtype=np.int64), np.array(counts, dtype=np.int64)


def _spans(events: Sequence[ChannelEvent], end_tick: int) -> list[tuple[int, int]]:
    """Return from where to where the sustain pedal is down."""
    lifted = _lifts(events, _SUSTAIN, end_tick)[0]
    pressed = np.flatnonzero((lifted[1:] >= 0) & (lifted[:-1] < 0)).tolist()
    return [(events[place][0], int(lifted[place + 1])) for place in pressed]


def _next_onset(onset: Ints, pitch: Ints) -> Ints:
    """Return when each note's pitch is struck again; `_NEVER` where it isn't."""
    by_pitch = np.argsort(pitch, kind="stable")
    before, after = by_pitch[:-1], by_pitch[1:]
    found = np.full(len(onset), _NEVER, dtype=np.int64)
    found[before] = np.where(pitch[before] == pitch[after], onset[after], _NEVER)
    return found
