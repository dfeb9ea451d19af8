"""Where beats are heard: the network over frames of `FRAMES_A_SECOND`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.grid.track.frames import frames_of

if TYPE_CHECKING:
    from arranger.grid.attacks import Attacks
    from arranger.grid.track.evidence import Evidence
    from arranger.grid.track.network import Frames
    from arranger.song.notes import TimedColumns

FRAMES_A_SECOND = 50
BEFORE = 2
"""Frames before the first attack."""


def beat_frames(notes: TimedColumns, attacks: Attacks, evidence: Evidence) -> Frames:
    """Return what the network is shown; frame `BEFORE` is at the first attack."""
    first = evidence.seconds[0]
    at = (evidence.seconds - first) * FRAMES_A_SECOND + BEFORE
    start = (notes.onset_seconds - first) * FRAMES_A_SECOND + BEFORE
    end = (notes.end_seconds - first) * FRAMES_A_SECOND + BEFORE
    count = int(np.ceil(at[-1])) + 2 * FRAMES_A_SECOND
    return frames_of(notes, attacks, evidence, at, (start, end), count)
