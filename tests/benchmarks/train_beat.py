"""Train the weights of beat finding: ``python -m tests.benchmarks.train_beat FOLDER``.

FOLDER is a folder of played-in songs with beat files (see `corpora`). Every second song of it, and
scores played by the model of a person, are trained on; the other half is for `track_beats`, which
measures. Songs are blinded first, so nothing that a file says of its tempo is learnt. Readings stand
at the places that the phase weights in force propose, so train twice after a change of features.

The model is a conditional logit: the readings of a song compete, and each is wanted in proportion to
exp(F / `SHARPNESS`), F being its F-measure against the true beats. Fitted by Newton's method with an
L2 penalty, on features of unit deviation; the deviations are folded into the weights.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import mir_eval.beat
import numpy as np

from arranger.grid.attacks import find_attacks
from arranger.grid.track.beat import all_readings
from arranger.grid.track.evidence import find_evidence
from arranger.grid.track.hypotheses import FEATURES, PHASE_FEATURES, phase_features
from arranger.settings import GridSettings
from arranger.song.time import timed_columns
from tests.benchmarks.corpora import Case, folder_cases, played_case, scores
from tests.benchmarks.scores import BEAT_SCORES, BEAT_SEED

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

SHARPNESS = 0.05
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


def choices(case: Case) -> tuple[Choice | None, Choice]:
    """Return the choices of a beat and of its phase that a case teaches."""
    notes = timed_columns(case.song)
    evidence = find_evidence(notes, find_attacks(notes))
    readings = all_readings(evidence, None, GridSettings())
    beat = None
    if readings:
        quality = np.array([f_measure(case.beats, reading.beats()) for reading in readings])
        wanted = np.exp((quality - quality.max()) / SHARPNESS)
        beat = np.array([reading.features for reading in readings]), wanted / wanted.sum()
    phases = phase_features(case.beats, evidence)
    phase = phases, np.eye(len(phases))[0]
    return beat, phase


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
    beat_choices, phase_choices = [], []
    for case in training_cases(Path(folder)):
        beat, phase = choices(case)
        phase_choices.append(phase)
        beat_choices += [beat] if beat else []
    named = {
        "beat": dict(zip(FEATURES, fit(beat_choices).round(4).tolist(), strict=True)),
        "phase": dict(zip(PHASE_FEATURES, fit(phase_choices).round(4).tolist(), strict=True)),
    }
    target = Path(__file__).parents[2] / "arranger" / "grid" / "track" / "weights.json"
    target.write_text(json.dumps(named, indent=2) + "\n", encoding="utf-8")
    print(f"trained on {len(beat_choices)} songs; wrote {target.name}")


if __name__ == "__main__":
    main(sys.argv[1])
