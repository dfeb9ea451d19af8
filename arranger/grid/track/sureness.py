"""How sure each beat is: the likelihood that it is within 70 ms of a true one.

A weighted sum of a few features is the logarithm of the odds; the weights (``weights.json``) are fitted on
performances whose beats are known and that the network wasn't trained on
(``tests/benchmarks/train_readings.py``).

===========  ==============================================================
feature      a beat has much of it when
===========  ==============================================================
`one`        always 1
`reading`    its reading is likely against the others: log odds
`odds`       it is heard clearly: the network's log odds
`around`     the beats around it are heard clearly, on the mean
`song`       all beats are
`bend`       its period differs from that before: logarithm, at most `MOST_BEND`
===========  ==============================================================
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.grid.track.feature_weights import weights_of

if TYPE_CHECKING:
    from arranger.columns import Floats
    from arranger.grid.track.networks.beats_heard import HeardSong

SURE_FEATURES = ("one", "reading", "odds", "around", "song", "bend")
AROUND = 8
MOST_BEND = 0.5
MOST_LOG_ODDS = 6.0


def sureness(heard: HeardSong, beats: Floats, likelihood: float) -> Floats:
    """Return how likely each beat is right, 0..1; ``likelihood``: of the reading against the others."""
    at = sure_features(heard, beats, likelihood) @ weights_of("sure", SURE_FEATURES)
    result: Floats = 1.0 / (1.0 + np.exp(-at))
    return result


def sure_features(heard: HeardSong, beats: Floats, likelihood: float) -> Floats:
    """Return the features of each beat, shape (beats, len(SURE_FEATURES))."""
    odds, count = heard.beat_odds(beats), len(beats)
    summed = np.concatenate(([0.0], np.cumsum(odds)))
    low = np.maximum(np.arange(count) - AROUND, 0)
    high = np.minimum(np.arange(count) + AROUND + 1, count)
    logs = np.log(np.maximum(np.diff(beats), 1e-9))
    bend = np.concatenate(([0.0], np.abs(np.diff(logs)), [0.0]))[:count]
    return np.stack(
        (
            np.ones(count),
            np.full(count, log_odds(likelihood)),
            odds,
            (summed[high] - summed[low]) / (high - low),
            np.full(count, odds.mean()),
            np.minimum(bend, MOST_BEND),
        ),
        axis=1,
    )


def log_odds(share: float) -> float:
    """Return the logarithm of the odds of a likelihood, within `MOST_LOG_ODDS`."""
    share = min(max(share, 1e-9), 1.0 - 1e-9)
    return float(np.clip(np.log(share / (1.0 - share)), -MOST_LOG_ODDS, MOST_LOG_ODDS))
