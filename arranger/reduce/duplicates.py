"""Notes that double another: the same pitch, or the same pitch class, at the same time.

A doubled note is heard through the one that it doubles, so it is merged, not lost. Of notes that
double each other the one most likely to be kept (tune, then bass, then salience) stands for all, so
that there are no chains.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.reduce.columns import Columns

TOGETHER_SECONDS = 0.04
"""Onsets nearer than this are heard as one (common practice, no source: 30 to 50 ms)."""


def doubles(
    table: Columns, importance: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return for each note the one that it doubles in unison, and the one at the octave.

    Parameters
    ----------
    importance
        Shape (notes,): of notes that double each other the one with the most stands for the rest.

    Returns
    -------
    duplicate_of, octave_of : NDArray[np.int64]
        Shape (notes,): indices of notes, or -1. A note that doubles in unison has -1 in
        ``octave_of``.
    """
    duplicate_of = _leaders(table, table.pitch, importance)
    octave_of = _leaders(table, table.pitch % 12, importance)
    octave_of[duplicate_of >= 0] = -1
    return duplicate_of, octave_of


def _leaders(
    table: Columns, key: NDArray[np.int64], importance: NDArray[np.float64]
) -> NDArray[np.int64]:
    """Group tonal notes of one key that start together; all but the most important point to it."""
    result = np.full(len(key), -1, dtype=np.int64)
    tonal = np.flatnonzero(table.tonal)
    if not len(tonal):
        return result
    order = tonal[np.lexsort((table.onset[tonal], key[tonal]))]
    new = np.ones(len(order), dtype=np.bool_)
    new[1:] = (key[order][1:] != key[order][:-1]) | (np.diff(table.onset[order]) > TOGETHER_SECONDS)
    group = np.cumsum(new) - 1
    ranked = np.lexsort((-importance[order], group))
    leader = order[ranked[np.flatnonzero(new)]][group]
    follows = leader != order
    result[order[follows]] = leader[follows]
    return result
