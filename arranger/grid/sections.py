"""Repeated passages, so that an edit can be made once.

Two bars are alike when `ALIKE` of the notes that either has start at the same place with the same
pitch in the same part. Passages of at least `FEWEST_BARS` bars that come again are named in order of
length, then by where they first stand: the longest first, so that a song that is played twice is one
section, twice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import distinct
from arranger.grid.model import Section

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.columns import Bools, Ints
    from arranger.grid.model import GridBar

ALIKE = 0.9
FEWEST_BARS = 4
MOST_BARS = 1000
"""Longer songs are compared up to here; the work grows with the square of it."""
MOST_CELLS = 200_000
"""Bars times kinds of notes; beyond it, only bars that are exactly equal are alike."""
NAMES = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def find_sections(alike: Bools) -> tuple[Section, ...]:
    """Return all occurrences of repeated passages, in order of time; ``alike`` is that of `alike_bars`."""
    count = len(alike)
    runs = np.zeros((count + 1, count + 1), dtype=np.int32)
    for row in reversed(range(count)):
        runs[row, :-1] = np.where(alike[row], runs[row + 1, 1:] + 1, 0)
    runs = runs[:-1, :-1]
    # A passage may not overlap its own repetition.
    lag = np.arange(count)[None, :] - np.arange(count)[:, None]
    length = np.triu(np.minimum(runs, lag))
    free = np.ones(count, dtype=np.bool_)
    found: list[tuple[int, int, int]] = []
    for number in range(len(NAMES)):
        if length.max(initial=0) < FEWEST_BARS:
            break
        first, _ = np.unravel_index(int(length.argmax()), length.shape)
        size = int(length.max())
        at = int(first)
        while at + size <= count:
            if runs[first, at] >= size and free[at : at + size].all():
                found.append((number, at, size))
                free[at : at + size] = False
                at += size
            else:
                at += 1
        length = _cut(length, free)
    order = sorted(
        {number for number, _, _ in found}, key=lambda n: min(f[1:] for f in found if f[0] == n)
    )
    return tuple(
        Section(NAMES[order.index(number)], at, size)
        for number, at, size in sorted(found, key=lambda entry: entry[1])
    )


def alike_bars(bars: tuple[GridBar, ...], onset_steps: Ints, part: Ints, pitch: Ints) -> Bools:
    """Return which bars are alike, shape (bars, bars), of the first `MOST_BARS`; a silent bar is like none.

    The arrays have shape (notes,); notes at step -1 are left out.
    """
    bars = bars[:MOST_BARS]
    count = len(bars)
    firsts = np.array([bar.first_step for bar in bars])
    end = bars[-1].first_step + bars[-1].steps
    inside = (onset_steps >= 0) & (onset_steps < end)
    bar = np.searchsorted(firsts, onset_steps[inside], side="right") - 1
    place = onset_steps[inside] - firsts[bar]
    code = ((part[inside] * 128 + pitch[inside]) << 24) + place
    kinds, kind = np.unique(code, return_inverse=True)
    lengths = np.array([bar.steps for bar in bars])
    same_length = lengths[:, None] == lengths[None, :]
    if count * len(kinds) > MOST_CELLS:
        # Equal sums of random numbers, one a kind: equal bars, but for one chance in 2^50.
        value = np.random.default_rng(0).random(len(kinds))
        once = distinct(bar * len(kinds) + kind)
        sums = np.bincount(once // len(kinds), value[once % len(kinds)], count)
        equal: Bools = np.isclose(sums[:, None], sums, rtol=1e-13, atol=0)
        equal &= (sums > 0) & same_length
        return equal
    has = np.zeros((count, len(kinds)), dtype=np.float32)
    has[bar, kind] = 1.0
    common = has @ has.T
    own = has.sum(axis=1)
    either = own[:, None] + own[None, :] - common
    result: Bools = (common >= ALIKE * either) & (common > 0) & same_length
    return result


def _cut(length: NDArray[np.int32], free: Bools) -> NDArray[np.int32]:
    """Return the lengths of passages that keep to free bars."""
    bars = np.arange(len(free), dtype=np.int32)
    taken = np.append(bars[~free], np.int32(len(free)))
    until = taken[np.searchsorted(taken, bars)] - bars
    found: NDArray[np.int32] = np.minimum(length, np.minimum(until[:, None], until))
    return found
