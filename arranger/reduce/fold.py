"""Folding: pitches outside the engine's table move by octaves, keeping the line's contour."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.reduce.candidates import Ints

UNPLAYABLE = -1


def fold(pitches: Ints, engine: Engine) -> Ints:
    """Return each pitch in the nearest octave that the table has, or `UNPLAYABLE`.

    Parameters
    ----------
    pitches
        Shape (n,): MIDI numbers after transposition, possibly outside 0..127.
    engine
        Whose table counts.
    """
    low, high = int(pitches.min(initial=0)), int(pitches.max(initial=0))
    targets = np.array([_nearest(pitch, engine) for pitch in range(low, high + 1)], dtype=np.int64)
    return targets[pitches - low]


def _nearest(pitch: int, engine: Engine) -> int:
    octaves = [entry for entry in engine.pitches if (entry - pitch) % 12 == 0]
    return min(octaves, key=lambda entry: abs(entry - pitch), default=UNPLAYABLE)
