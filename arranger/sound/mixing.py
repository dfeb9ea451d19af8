"""Kernels added up, and the sums summed once more: the two loops in which sound takes its time.

Both are here in numpy and in ``_mixing.c``, which is used where it could be compiled; they come to
the same bits.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.columns import Floats, Ints

    Samples = NDArray[np.float32]

_compiled = compiled("arranger.sound._mixing", "70821e42")

_ROWS_A_BATCH = 512
"""So many kernels and their sum stay in the processor's cache."""


def add_kernels(sums: Floats, firsts: Ints, rows: Ints, gains: Floats, table: Floats) -> None:
    """Add kernels to sums.

    ``sums``: what is added to.
    ``firsts``: shape (n,): where in the sums each kernel begins; all of it lies there.
    ``rows``, ``gains``: shape (n,): the row of the table, and by what it is multiplied.
    ``table``: shape (rows, taps).
    """
    if _compiled is not None:
        _compiled.add(sums, firsts, rows, gains, table, table.shape[1])
        return
    columns = np.arange(table.shape[1])
    for start in range(0, len(rows), _ROWS_A_BATCH):
        part = slice(start, start + _ROWS_A_BATCH)
        heights = table.take(rows[part], axis=0)
        heights *= gains[part, np.newaxis]
        # One dimension: numpy adds those at several times the speed.
        np.add.at(sums, (firsts[part, np.newaxis] + columns).ravel(), heights.ravel())


def integrate(
    taken: Floats, growing: Floats, fading: Floats, heights: Floats, peak: float
) -> Samples:
    """Return the leaky integral, clipped at the peak; shape (frames, channels).

    ``taken``: shape (channels, frames).
    ``growing``, ``fading``: what a row of so many frames is multiplied by before it is summed up,
    and after.
    ``heights``: shape (channels,): where the integral stands; is changed.
    """
    channels, frames = taken.shape
    heard = np.empty((frames, channels), dtype=np.float32)
    if _compiled is not None:
        for channel, sums in enumerate(taken):
            _compiled.integrate(sums, growing, fading, heights, heard, channel, channels, peak)
        return heard
    # Row by row: all that a row needs stays in the processor's cache.
    for start in range(0, frames, len(fading)):
        row = taken[:, start : start + len(fading)]
        reached = row * growing[: row.shape[1]]
        np.cumsum(reached, axis=1, out=reached)
        reached += heights[:, np.newaxis]
        reached *= fading[: row.shape[1]]
        heights[:] = reached[:, -1]
        heard[start : start + row.shape[1]] = reached.T
    return np.clip(heard, -peak, peak, out=heard)
