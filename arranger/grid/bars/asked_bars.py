"""Bars as the user says: their metre, and where the first bar line is.

A metre that is asked for rules all bars. They begin where the user says (`GridSettings.pickup`,
`first_beat`), else where the file has them if it is the file's own metre, else where they are heard. Without a
metre the file's bars are moved, changes of metre and all, until one of them begins there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.errors import UsageError
from arranger.song.model import MetreChange
from arranger.song.time import song_bars

if TYPE_CHECKING:
    from collections.abc import Sequence
    from fractions import Fraction

    from arranger.columns import Floats
    from arranger.settings import GridSettings
    from arranger.song.model import Song

PLACES_A_BEAT = 12
"""The first note is taken to stand on one of these."""
LINES_A_BEAT = 2
"""A downbeat that is given in seconds is taken to stand on one of these."""
LEAST_GAIN = 10.0
"""By how much, in log odds, another place must be likelier than the file's first tick."""


def asks_place(settings: GridSettings) -> bool:
    """Return whether the user says where bars begin.

    Raises `UsageError` if that is said twice.
    """
    if settings.pickup is not None and settings.first_beat is not None:
        raise UsageError(
            "--pickup and --first-beat both say where bars begin", remedy="give one of them"
        )
    return settings.pickup is not None or settings.first_beat is not None


def after_pickup(first_onset: float, pickup: Fraction) -> float:
    """Return the beat that begins a bar after a pickup, from that of the first note."""
    return round(first_onset * PLACES_A_BEAT) / PLACES_A_BEAT + float(pickup)


def bar_beats(metre: tuple[int, int]) -> float:
    """Return the length of a bar in beats (quarter notes)."""
    return 4 * metre[0] / metre[1]


def likeliest_place(odds: Floats, bar_slots: int, places: Sequence[int]) -> int:
    """Return at which of some slots bars of a length most likely begin, given the odds of a line at each.

    The first of the places is kept unless another is plainly likelier.
    """
    sums = [float(odds[place::bar_slots].sum()) for place in places]
    best = int(np.argmax(sums))
    return places[best] if sums[best] - sums[0] >= LEAST_GAIN else places[0]


def even_metres(metre: tuple[int, int], first_tick: int) -> tuple[MetreChange, ...]:
    """Return the metres of bars that are all alike, of which the first whole one begins at a tick."""
    return tuple(MetreChange(tick, *metre) for tick in sorted({0, first_tick}))


def moved_metres(song: Song, tick: int) -> tuple[MetreChange, ...]:
    """Return a song's own metres, moved on by less than a bar so that one begins at a tick."""
    past = [bar.start for bar in song_bars(song, tick + 1) if bar.start <= tick]
    later = tick - max(past, default=0)
    first = song.metres[0]
    moved = [metre._replace(tick=metre.tick + later) for metre in song.metres]
    return tuple([first, *moved] if later else moved)
