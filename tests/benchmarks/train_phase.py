"""Train the weights of a known beat's phase: ``python -m tests.benchmarks.train_phase FOLDER``.

FOLDER is a folder of played-in songs with beat files (see `corpora`). Every second song of it, and
scores played by the model of a person, are trained on; the other half is for `track_beats`, which
measures. Songs are blinded first, so nothing that a file says of its tempo is learnt.

The model is a conditional logit: the places of a beat compete, and the true one is wanted. Fitted by
Newton's method with an L2 penalty, on features of unit deviation; the deviations are folded into the
weights. Writes ``phase`` in ``weights.json``; the other weights stay.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import mir_eval.beat
import numpy as np

from arranger.grid.attacks import find_attacks
from arranger.grid.track.evidence import find_evidence
from arranger.grid.track.phase import PHASE_FEATURES, phase_features
from arranger.song.time import timed_columns
from tests.benchmarks.corpora import Case, folder_cases, played_case, scores
from tests.benchmarks.scores import BEAT_SCORES, BEAT_SEED

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

PENALTY = 0.01
PLAYED = ((0.01, 0.03), (0.02, 0.03), (0.04, 0.10), (0.02, 0.06))
"""Jitter in seconds and drift, in turn."""

Choice = tuple["NDArray[np.float64]", "NDArray[np.float64]"]
"""Features of the alternatives, shape (alternatives, features), and how much each is wanted."""


def f_measure(truth: NDArray[np.float64], found: NDArray[np.float64]) -> float:
    """Return mir_eval's beat F-measure, after its trimming of the first 5 s."""
    trim = mir_eval.beat.trim_beats
    return float(mir_eval.beat.f_measure(trim(truth), trim(np.sort(found))))


def training_cases(folder: Path) -> Iterable[Case]:
    for index, case in enumerate(folder_cases(folder, blind=True)):
        if index % 2 == 0:
            yield case
    for index, score in enumerate(scores(BEAT_SCORES, BEAT_SEED)):
        jitter, drift = PLAYED[index // 4 % len(PLAYED)]
        yield played_case(score, index, jitter_seconds=jitter, drift=drift)


def choice(case: Case) -> Choice:
    """Return the choice of a phase that a case teaches."""
    notes = timed_columns(case.song)
    phases = phase_features(case.beats, find_evidence(notes, find_attacks(notes)))
    return phases, np.eye(len(phases))[0]


def fit(data: list[Choice]) -> NDArray[np.float64]:
    """Return the weights that make what is wanted likeliest, by Newton's method."""
    scale = np.concatenate([features for features, _ in data]).std(axis=0)
    scale = np.where(scale > 1e-9, scale, np.inf)
    weights = np.zeros(len(scale))
    for _ in range(12):
        slope = -2.0 * PENALTY * len(data) * weights
        curve = 2.0 * PENALTY * len(data) * np.eye(len(scale))
        for features, wanted in data:
            scaled = features / scale
            likely = np.exp(scaled @ weights - (scaled @ weights).max())
            likely /= likely.sum()
            slope += scaled.T @ (wanted - likely)
            mean = scaled.T @ likely
            curve += (scaled.T * likely) @ scaled - np.outer(mean, mean)
        weights = weights + np.linalg.solve(curve, slope)
    return weights / scale


def main(folder: str) -> None:
    choices = [choice(case) for case in training_cases(Path(folder))]
    target = Path(__file__).parents[2] / "arranger" / "grid" / "track" / "weights.json"
    named = json.loads(target.read_text(encoding="utf-8"))
    named["phase"] = dict(zip(PHASE_FEATURES, fit(choices).round(4).tolist(), strict=True))
    target.write_text(json.dumps(named, indent=2) + "\n", encoding="utf-8")
    print(f"trained on {len(choices)} songs; wrote {target.name}")


if __name__ == "__main__":
    main(sys.argv[1])
