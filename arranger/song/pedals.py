"""Pedals and silencing: where a note really ends after its key was released.

Per channel, over all tracks that play on it (MIDI 1.0, controllers):

- Sostenuto (66) holds the notes whose key is down when it is pressed.
- Sustain (64) holds every note whose key is released while it is down. A note held by a pedal ends
  at the latest where its pitch is struck again.
- All-notes-off and its relatives (123..127) release the keys; all-sound-off (120) also silences
  what the pedals hold. Reset-all-controllers (121) lifts the pedals.

A pedal is down from value 64 on.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

from arranger.song.events import CHANNEL, END, ONSET, PITCH

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from arranger.song.events import ChannelEvent, RawNote

_SUSTAIN, _SOSTENUTO = 64, 66
_SOUND_OFF, _RESET, _NOTES_OFF = 120, 121, 123

CODES = frozenset((_SUSTAIN, _SOSTENUTO, _SOUND_OFF, _RESET, *range(_NOTES_OFF, 128)))
"""The controllers that this module looks at."""


def move_ends(
    notes: Iterable[RawNote], events: Sequence[ChannelEvent], end_tick: int, *, sustain: bool
) -> None:
    """Move the ends of raw notes to where pedals and silencing put them.

    Parameters
    ----------
    notes
        All raw notes, in order of onset; their ends are changed in place.
    events
        All channel events with a code in `CODES`, in playing order.
    end_tick
        Where a pedal is lifted that never comes up.
    sustain
        False: pedals are left out of account, silencing is not.
    """
    by_channel: dict[int, list[ChannelEvent]] = {}
    for event in events:
        by_channel.setdefault(event[4], []).append(event)
    played: dict[int, list[RawNote]] = {channel: [] for channel in by_channel}
    for note in notes:
        if note[CHANNEL] in played:
            played[note[CHANNEL]].append(note)
    for channel, channel_events in by_channel.items():
        if played[channel]:
            _move_channel(played[channel], channel_events, end_tick, sustain)


def _move_channel(
    notes: list[RawNote], events: list[ChannelEvent], end_tick: int, sustain: bool
) -> None:
    releases = sorted({e[0] for e in events if e[5] >= _NOTES_OFF or e[5] == _SOUND_OFF})
    silences = sorted({e[0] for e in events if e[5] == _SOUND_OFF})
    holds = _spans(events, _SUSTAIN, end_tick) if sustain else ([], [])
    catches = _spans(events, _SOSTENUTO, end_tick) if sustain else ([], [])
    next_onset: dict[int, int] = {}
    for note in reversed(notes):
        onset, pitch = note[ONSET], note[PITCH]
        key_end = note[END]
        if releases:
            key_end = _first_after(releases, onset, key_end)
        end = key_end
        if catches[0]:
            # Only the first press after the onset can find the key still down and unheld.
            place = bisect_right(catches[0], onset)
            if place < len(catches[0]) and catches[0][place] < key_end:
                end = max(end, catches[1][place])
        place = bisect_right(holds[0], end) - 1
        if place >= 0 and end < holds[1][place]:
            end = holds[1][place]
        if end > key_end:
            end = max(key_end, min(end, next_onset.get(pitch, end)))
        if silences:
            end = _first_after(silences, onset, end)
        note[END] = end
        next_onset[pitch] = onset


def _spans(events: list[ChannelEvent], code: int, end_tick: int) -> tuple[list[int], list[int]]:
    """Return when a pedal goes down and when it comes up, in ticks, in order."""
    starts: list[int] = []
    stops: list[int] = []
    down: int | None = None
    for tick, _place, _order, _track, _channel, number, value in events:
        if number not in (code, _RESET):
            continue
        pressed = number == code and value >= 64
        if pressed and down is None:
            down = tick
        elif not pressed and down is not None:
            if tick > down:
                starts.append(down)
                stops.append(tick)
            down = None
    if down is not None:
        starts.append(down)
        stops.append(end_tick)
    return starts, stops


def _first_after(ticks: list[int], after: int, otherwise: int) -> int:
    """Return the first tick later than ``after``, but at the latest ``otherwise``."""
    place = bisect_right(ticks, after)
    return min(ticks[place], otherwise) if place < len(ticks) else otherwise
