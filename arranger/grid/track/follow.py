"""The best beat through a song: by dynamic programming over frames and periods, exact.

A beat gains what its frames are worth and something for each frame that it covers, so that it goes on
where little is heard; it pays for each change of its period from beat to beat and for an unusual first
period. All are whole numbers of `UNIT`, so that the compiled code and numpy, here and anywhere, find
the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import distinct
from arranger.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.columns import Floats, Ints

    Whole = NDArray[np.int32]

_compiled = compiled("arranger.grid.track._follow", "8e44e3c1")

UNIT = 1 / 64
"""What everything is a multiple of, in log odds."""
PERIODS = distinct(np.rint(13 * 1.0355 ** np.arange(57)).astype(np.int64))
"""Periods of a beat in frames, rising; each 3 or 4 % longer than the one before, where frames allow."""
CHANGE, POWER = 20.0, 1.5
"""Price of a period that changes: for the logarithm of the change, to a power."""
COVERED = 6 * UNIT
"""Gained by each frame from the first beat to the last, whatever the tempo."""
REACH = 8
"""How many of `PERIODS` a period may go up or down from beat to beat."""
USUAL_FRAMES, USUAL_SPREAD = 30.0, 0.6
"""The usual first period, and the spread of its logarithm."""
NEVER = -(1 << 29)


class Followed(NamedTuple):
    """A beat that was followed through a song."""

    frames: Ints
    """Rising; at least one."""
    gained: float
    """Log odds gained, less what changes and the first period cost; without what is covered."""


def follow_beats(odds: Floats, periods: Ints) -> Followed:
    """Return the best beat.

    ``odds``: log odds of a beat at each frame; at least one.
    ``periods``: periods in frames that it may have, rising, at least one; neighbours are those of
    `PERIODS`.
    """
    gains = in_units(odds)
    logs = np.log(periods)
    price = in_units(CHANGE * np.abs(logs[:, None] - logs) ** POWER - COVERED * periods)
    begin = in_units(-0.5 * (np.log(periods / USUAL_FRAMES) / USUAL_SPREAD) ** 2)
    if _compiled is None:
        came, fresh, found = ways_in_numpy(gains, periods, price, begin)
    else:
        onward = np.empty((len(gains) + int(periods[-1]), len(periods)), dtype=np.int32)
        came, fresh = np.empty((2, len(gains), len(periods)), dtype=np.int8)
        found = np.zeros(3, dtype=np.int64)
        _compiled.followed(gains, periods, price, begin, onward, came, fresh, found, REACH)
    gained, frame, period = (int(value) for value in found)
    frames = [frame]
    while not fresh[frame, period]:
        frame -= int(periods[period])
        period += int(came[frame, period])
        frames.append(frame)
    covered = COVERED * (frames[0] - frames[-1])
    return Followed(np.array(frames[::-1], dtype=np.int64), gained * UNIT - covered)


def in_units(values: Floats) -> Whole:
    """Return values as whole numbers of `UNIT`."""
    return np.rint(values / UNIT).astype(np.int32)


def ways_in_numpy(
    gains: Whole, periods: Ints, price: Whole, begin: Whole
) -> tuple[NDArray[np.int8], NDArray[np.int8], Ints]:
    """Return the best way on from each frame, as the compiled code does.

    Returns
    -------
    came, fresh, found
        Shape (frames, periods): the best period before, as a difference of indices, if the beat goes on
        with a period; whether a beat with a period begins here. Then what the best gained, its last
        frame, and the index of its last period.
    """
    count, many, most, least = len(gains), len(periods), int(periods[-1]), int(periods[0])
    onward = np.full((count + most, many), NEVER, dtype=np.int32)
    came, fresh = np.zeros((2, count, many), dtype=np.int8)
    source = np.arange(many)[:, None] + np.arange(-REACH, REACH + 1)
    inside = (source >= 0) & (source < many)
    source = np.clip(source, 0, many - 1)
    paid = np.where(inside, price[source, np.arange(many)[:, None]], -NEVER)
    found = np.array([NEVER, 0, 0], dtype=np.int64)
    columns = np.arange(many)
    # a block at a time, since no period is shorter than the block
    for start in range(0, count, least):
        size = min(least, count - start)
        before = onward[(start + most + np.arange(size))[:, None] - periods, columns]
        fresh[start : start + size] = before < begin
        reached = np.maximum(before, begin) + gains[start : start + size, None]
        if reached.max() > found[0]:
            row, column = divmod(int(reached.argmax()), many)
            found[:] = reached[row, column], start + row, column
        ways = reached[:, source] - paid
        chosen = ways.argmax(axis=2)
        came[start : start + size] = chosen - REACH
        best = np.take_along_axis(ways, chosen[:, :, None], 2)[:, :, 0]
        onward[start + most : start + most + size] = best
    return came, fresh, found
