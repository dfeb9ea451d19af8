"""Where the harmony changes and what comes back: columns that compare one part of a song with another.

A network of convolutions sees the notes around a place, but can hardly compare two places in whatever key.
These columns do, for each slot (a quarter of a beat): 0 where two stretches have nothing in common, 1 where
they are alike.

==================  ==============================================================================
columns             the likeness
==================  ==============================================================================
`BEFORE_AFTER`      of the pitch classes that sound so many slots before and after the slot
`LOW_BEFORE_AFTER`  the same of low notes
`BACK`              of the pitch classes that start in the two beats from here on, and so many slots before
`RHYTHM_BACK`       of how much starts when, in the same two stretches
==================  ==============================================================================
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from arranger.columns import Floats
    from arranger.grid.track.networks.layers import Frames

BEFORE_AFTER = (4, 8, 16)
LOW_BEFORE_AFTER = (4, 8)
BACK = (8, 12, 16, 24, 32, 48, 64, 96, 128)
RHYTHM_BACK = (8, 12, 16, 24)
TWO_BEATS = 8
COLUMNS = len(BEFORE_AFTER) + len(LOW_BEFORE_AFTER) + len(BACK) + len(RHYTHM_BACK)
SILENT = 1e-6


def likeness(sounding: Floats, low: Floats, starting: Floats, strength: Floats) -> Frames:
    """Return the columns above, shape (slots, COLUMNS).

    ``sounding``, ``low``, ``starting``: shape (slots, 12): pitch classes that sound, those of low
    notes, and those that start.
    ``strength``: shape (slots,): how much starts.
    """
    rows = [_before_after(sounding, width) for width in BEFORE_AFTER]
    rows += [_before_after(low, width) for width in LOW_BEFORE_AFTER]
    ahead = _windows(starting, TWO_BEATS)
    rows += [_with_later(ahead, back) for back in BACK]
    shape = np.stack([_sooner(strength, slot) for slot in range(TWO_BEATS)], axis=1)
    rows += [_with_later(shape, back) for back in RHYTHM_BACK]
    return np.stack(rows, axis=1).astype(np.float32)


def _before_after(classes: Floats, width: int) -> Floats:
    return _with_later(_windows(classes, width), width)


def _with_later(rows: Floats, slots: int) -> Floats:
    """Return the cosine of each row and that so many slots before; 0 where one is silent or isn't there."""
    result = np.zeros(len(rows))
    if slots < len(rows):
        sizes = np.einsum("ij,ij->i", rows, rows)
        product = np.einsum("ij,ij->i", rows[slots:], rows[:-slots])
        both = sizes[slots:] * sizes[:-slots]
        result[slots:] = np.where(both > SILENT, product / np.sqrt(np.maximum(both, SILENT)), 0.0)
    return result


def _windows(rows: Floats, width: int) -> Floats:
    """Return the sum of each row and those after it, ``width`` in all."""
    total = np.concatenate((np.zeros((1, rows.shape[1])), np.cumsum(rows, axis=0)))
    last = np.minimum(np.arange(len(rows)) + width, len(rows))
    result: Floats = total[last] - total[:-1]
    return result


def _sooner(row: Floats, slots: int) -> Floats:
    result = np.zeros_like(row)
    result[: max(len(row) - slots, 0)] = row[slots:]
    return result
