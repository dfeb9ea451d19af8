"""Where in a beat of known times the music's beat falls: the evidence folded into one beat.

For a column c of the evidence, ``S(c, f)`` is its density at a fraction f of the beat, relative to an even
spread: 1 when the beat means nothing. What speaks for a place are the logarithms of S there and half a
beat away, by weights (``weights.json``) that ``tests/benchmarks/train_phase.py`` trains.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import median
from arranger.grid.track.evidence import COLUMNS, find_evidence
from arranger.grid.track.feature_weights import weights_of

if TYPE_CHECKING:
    from arranger.columns import Floats
    from arranger.grid.attacks import Attacks
    from arranger.grid.track.evidence import AttackEvidence
    from arranger.song.notes import TimedColumns

BINS = 24
"""Places in a beat that are told apart."""
PLACES = (0, 6, 8, 12, 16, 18)
"""Quarters and thirds of a beat, in bins."""
SPREAD_SECONDS = 0.030
FLOOR = 0.05
PHASE_FEATURES = tuple(f"{where}_{name}" for where in ("on", "half") for name in COLUMNS)


def file_phase(notes: TimedColumns, attacks: Attacks, beats: Floats) -> tuple[float, float]:
    """Return where between some beats the music's beat most likely falls, and by how much.

    Returns
    -------
    phase, margin
        In beats, -0.5 .. 0.5; and how much better the score is there than on the beats.
    """
    features = phase_features(beats, find_evidence(notes, attacks))
    scores = features @ weights_of("phase", PHASE_FEATURES)
    best = int(scores.argmax())
    phase = PLACES[best] / BINS
    return phase - np.rint(phase), float(scores[best] - scores[0])


def phase_features(times: Floats, evidence: AttackEvidence) -> Floats:
    """Return what speaks for the beat at each of `PLACES` of beats at some seconds.

    Shape (len(PLACES), 2 * len(COLUMNS)): log S(c, 0) and log S(c, 1/2) for a beat at that place.
    """
    at = np.interp(evidence.seconds, times, np.arange(len(times)))
    density = _density(evidence, at, float(median(np.diff(times))))
    folded = np.log(density + FLOOR)
    places = np.array(PLACES)
    return np.concatenate((folded[:, places], folded[:, (places + BINS // 2) % BINS])).T


def _density(evidence: AttackEvidence, position: Floats, seconds: float) -> Floats:
    """Return the density of each column, shape (columns, BINS)."""
    bins = np.floor(position * BINS + 0.5).astype(np.int64) % BINS
    counted = np.stack([np.bincount(bins, row, BINS) for row in evidence.columns])
    spread = float(np.clip(SPREAD_SECONDS / seconds, 0.03, 0.08)) * BINS
    reach = np.arange(BINS)
    distance = np.minimum(reach, BINS - reach)
    kernel = np.exp(-0.5 * (distance / spread) ** 2)
    kernel *= BINS / kernel.sum()
    smooth = np.fft.irfft(np.fft.rfft(counted) * np.fft.rfft(kernel), BINS)
    return np.clip(smooth, 0.0, None)
