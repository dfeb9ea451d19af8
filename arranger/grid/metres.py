"""Bars by ear for a song that has beats but no bars: how bar lines become metres.

A file that says no metre, or one of a single beat throughout, has no bars. They are heard (see
`arranger.grid.track.bars_heard`); 4/4 from the first tick is kept unless others are plainly likelier.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.asked_bars import (
    LINES_A_BEAT,
    after_pickup,
    asks_place,
    bar_beats,
    even_metres,
    likeliest_place,
    moved_metres,
)
from arranger.grid.track.bars_heard import SLOT_LENGTHS, SLOTS_A_BEAT, hear_lines, likeliest_bars
from arranger.song.model import MetreChange
from arranger.song.time import ticks_at

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.attacks import Attacks
    from arranger.settings import GridSettings
    from arranger.song.model import Song
    from arranger.song.notes import TimedColumns

FEWEST_ATTACKS = 32
LEAST_GAIN, LEAST_SHARE = 10.0, 0.1
"""By how much heard bars must be likelier than 4/4 from the first tick: log odds, and their share."""
USUAL = MetreChange(0, 4, 4)
PLAIN = {6: (3, 8), 8: (2, 4), 12: (3, 4), 16: (4, 4), 20: (5, 4), 24: (6, 4)}
"""The metre of a bar by its slots."""
COMPOUND = {12: (6, 8), 24: (12, 8)}
"""That of one whose beats are dotted."""
HALF_BEAT = 2
DOTTED = 6
"""Slots of half a beat, and of a dotted one."""


class Barred(NamedTuple):
    """A song with bars."""

    song: Song
    pickup: bool
    """Whether its first bar is one."""
    remarks: tuple[str, ...] = ()


def has_bars(song: Song) -> bool:
    """Return whether the file says where bars are."""
    more = any(4 * metre.numerator > metre.denominator for metre in song.metres)
    return song.metre_said and more


def with_bars(
    song: Song, notes: TimedColumns, attacks: Attacks, bpm: float, settings: GridSettings
) -> Barred:
    """Return a song with bars: as asked for, its own, or those that are heard."""
    if settings.metre is not None or asks_place(settings):
        return _asked(song, notes, attacks, bpm, settings)
    if has_bars(song):
        return Barred(song, pickup=False)
    usual = Barred(replace(song, metres=(USUAL,)), pickup=False)
    if attacks.count < FEWEST_ATTACKS:
        return usual
    ticks = song.ticks_per_beat
    odds = hear_lines(notes, attacks, ticks, bpm)
    heard = likeliest_bars(odds[:, 1], SLOT_LENGTHS)
    kept = float(odds[:: 4 * SLOTS_A_BEAT, 1].sum())
    if heard is None or heard.score - kept < max(LEAST_GAIN, LEAST_SHARE * heard.score):
        return usual
    metres = _metres(heard.lines, odds[:, 0], ticks)
    named = list(dict.fromkeys(f"{metre.numerator}/{metre.denominator}" for metre in metres))
    remark = f"the file has no bars; those of {' and '.join(named)} were found by ear"
    pickup = bool(heard.lines[0])
    return Barred(replace(song, metres=metres), pickup, (remark,))


def _asked(
    song: Song, notes: TimedColumns, attacks: Attacks, bpm: float, settings: GridSettings
) -> Barred:
    """Return a song with bars in the metre, or from the place, that the user says."""
    ticks, place = song.ticks_per_beat, _asked_tick(song, notes, settings)
    own = has_bars(song) and {settings.metre, *(metre[1:] for metre in song.metres)}
    if own and (settings.metre is None or len(own) == 1):
        metres = song.metres if place is None else moved_metres(song, place)
        return Barred(replace(song, metres=metres), pickup=len(metres) > len(song.metres))
    odds = hear_lines(notes, attacks, ticks, bpm)
    metre = settings.metre or _commonest(odds)
    size = bar_beats(metre)
    if place is None:
        slots = max(int(size * SLOTS_A_BEAT), 1)
        places = range(0, slots, HALF_BEAT)
        place = likeliest_place(odds[:, 1], slots, places) * ticks // SLOTS_A_BEAT
    first = round(place % (size * ticks))
    return Barred(replace(song, metres=even_metres(metre, first)), pickup=first > 0)


def _asked_tick(song: Song, notes: TimedColumns, settings: GridSettings) -> int | None:
    """Return the tick at which the user has a bar begin."""
    ticks = song.ticks_per_beat
    if settings.pickup is not None:
        return round(after_pickup(int(notes.onset[0]) / ticks, settings.pickup) * ticks)
    if settings.first_beat is None:
        return None
    tick = int(ticks_at(song, np.array([settings.first_beat]))[0])
    return round(round(tick / ticks * LINES_A_BEAT) * ticks / LINES_A_BEAT)


def _commonest(odds: Floats) -> tuple[int, int]:
    """Return the metre of most bars that are heard."""
    heard = likeliest_bars(odds[:, 1], SLOT_LENGTHS)
    if heard is None:
        return USUAL.numerator, USUAL.denominator
    size = int(np.bincount(np.diff(heard.lines)).argmax())
    return named_metre(size, heard.lines[:-1][np.diff(heard.lines) == size], odds[:, 0])


def _metres(lines: Ints, beats: Floats, ticks_per_beat: int) -> tuple[MetreChange, ...]:
    """Return the metres that have bar lines at some slots; ``beats`` are the log odds of beats."""
    sizes = np.diff(lines)
    names = {
        int(size): named_metre(int(size), lines[:-1][sizes == size], beats) for size in set(sizes)
    }
    found: dict[int, MetreChange] = {}
    for line, size in zip(lines[:-1].tolist(), sizes.tolist(), strict=True):
        tick = line * ticks_per_beat // SLOTS_A_BEAT
        if not found:
            found |= {at: MetreChange(at, *names[size]) for at in (0, tick)}
        elif list(found.values())[-1][1:] != names[size]:
            found[tick] = MetreChange(tick, *names[size])
    return tuple(found.values())


def named_metre(size: int, lines: Ints, beats: Floats) -> tuple[int, int]:
    """Return the metre of bars of a size in slots; of several with that size the one with those beats."""
    if size not in COMPOUND:
        return PLAIN[size]
    inside = lines[lines + size <= len(beats)]
    if not len(inside):
        return PLAIN[size]

    def mean(step: int) -> float:
        at = inside[:, None] + np.arange(step, size, step)
        return float(beats[at].mean())

    return COMPOUND[size] if mean(DOTTED) > mean(SLOTS_A_BEAT) else PLAIN[size]
