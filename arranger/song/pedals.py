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
    holds = _spans(events, _SUSTAIN, end_tick) if sustain else []
    catches = _spans(events, _SOSTENUTO, end_tick) if sustain else []
    next_onset: dict[int, int] = {}
    for note in reversed(notes):
        onset, key_end = note[ONSET], note[END]
        key_end = min(key_end, _first_after(releases, onset, key_end))
        end = key_end
        for start, stop in catches[bisect_right(catches, (onset, -1)) :][:1]:
            # Only the first press after the onset can find the key still down and unheld.
            if start < key_end:
                end = max(end, stop)
        place = bisect_right(holds, (end, end_tick + 1)) - 1
        if place >= 0 and end < holds[place][1]:
            end = holds[place][1]
        if end > key_end:
            struck_again = next_onset.get(note[PITCH], end)
            end = max(key_end, min(end, struck_again))
        note[END] = min(end, _first_after(silences, onset, end))
        next_onset[note[PITCH]] = onset


def _spans(events: list[ChannelEvent], code: int, end_tick: int) -> list[tuple[int, int]]:
    """Return when a pedal is down, as (start, stop) ticks in order."""
    spans: list[tuple[int, int]] = []
    down: int | None = None
    for tick, _place, _order, _track, _channel, number, value in events:
        if number not in (code, _RESET):
            continue
        pressed = number == code and value >= 64
        if pressed and down is None:
            down = tick
        elif not pressed and down is not None:
            if tick > down:
                spans.append((down, tick))
            down = None
    if down is not None:
        spans.append((down, end_tick))
    return spans


def _first_after(ticks: list[int], after: int, otherwise: int) -> int:
    """Return the first tick later than ``after``, or ``otherwise``."""
    place = bisect_right(ticks, after)
    return ticks[place] if place < len(ticks) else otherwise
