"""What bars that were heard on a file's beat are called, and where they begin as options say it."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.track.networks.bars_heard import SLOTS_A_BEAT

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.track.bars_sure import EvenBars

PLAIN = {6: (3, 8), 8: (2, 4), 12: (3, 4), 16: (4, 4), 20: (5, 4), 24: (6, 4)}
"""The metre of a bar by its slots."""
COMPOUND = {12: (6, 8), 24: (12, 8)}
"""That of one whose beats are dotted."""
DOTTED = 6
"""Slots of a dotted beat."""


class NamedBars(NamedTuple):
    """Bars that are all alike, as options take them."""

    metre: tuple[int, int]
    first_tick: int
    """Of the first bar line at or after the first note."""
    pickup: Fraction
    """Quarter notes from the first note to it: what ``--pickup`` takes."""


def named_bars(bars: EvenBars, odds: Floats, ticks_per_beat: int, first_onset: int) -> NamedBars:
    """Return what bars are called; ``odds``: of a beat and of a bar line at each slot, shape (slots, 2)."""
    lines = np.arange(bars.first, len(odds), bars.size)
    before = bars.first * ticks_per_beat - first_onset * SLOTS_A_BEAT
    line = bars.first + max(-(before // (bars.size * ticks_per_beat)), 0) * bars.size
    tick = round(line * ticks_per_beat / SLOTS_A_BEAT)
    pickup = Fraction(tick - first_onset, ticks_per_beat).limit_denominator(SLOTS_A_BEAT)
    metre = named_metre(bars.size, lines[lines + bars.size <= len(odds)], odds[:, 0])
    return NamedBars(metre, tick, pickup)


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


def metre_of_beats(size: int, length: float) -> tuple[int, int]:
    """Return the metre of a bar of so many beats, which are dotted if their length isn't 1.

    >>> metre_of_beats(4, 1.0), metre_of_beats(2, 1.5)
    ((4, 4), (6, 8))
    """
    return (size, 4) if length == 1.0 else (3 * size, 8)
