"""Finding where bars begin, once the beats are known.

For a bar of n beats, each of its n beats might be the first. For each column of the evidence, the
log of its density on every n-th beat, relative to all beats, is a feature; the weights are trained
like those of the beat (`beat`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from arranger.columns import Floats
    from arranger.grid.track.evidence import Evidence

NEAR = 0.15
"""How far from a beat an attack may be to count for it, in beats."""
FLOOR = 0.2


def downbeat_features(evidence: Evidence, beats: Floats, beats_a_bar: int) -> Floats:
    """Return the features of each beat of the bar, shape (beats_a_bar, columns)."""
    at = np.interp(evidence.seconds, beats, np.arange(len(beats)))
    nearest = np.rint(at)
    near = np.abs(at - nearest) < NEAR
    place = nearest[near].astype(np.int64) % beats_a_bar
    counted = np.stack(
        [np.bincount(place, row, beats_a_bar) for row in evidence.columns[:, near]], axis=1
    )
    mean = counted.mean(axis=0)
    features = np.log(counted / np.where(mean > 0, mean, 1.0) + FLOOR)
    result: Floats = features * (mean > 0)
    return result


def find_downbeat(
    evidence: Evidence,
    beats: Floats,
    beats_a_bar: int,
    weights: Floats,
) -> int:
    """Return the index of the first beat that begins a bar, 0 .. beats_a_bar - 1.

    ``weights`` has shape (columns,), in the order of ``evidence.COLUMNS``.
    """
    return int((downbeat_features(evidence, beats, beats_a_bar) @ weights).argmax())
