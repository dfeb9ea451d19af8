"""Train how readings are weighed and how sure beats are: ``python -m tests.benchmarks.train_readings PIECES``.

PIECES is what `time_pieces` writes. The pieces that `train_beats` leaves out of training ("check") are played
by both performers (`performing`, `playing`) at several amounts of rubato, pop songs also as recorded, at about
their own tempo, several times, so that they count as much as scores.

- ``reading``: the weights by which the readings that are chosen have the best F-measure against the true beats,
  pop songs and scores counted alike, by a seeded random search; then scaled so that exp(sum) says how likely
  each reading is, wanted in proportion to exp(F / `SHARPNESS`). (A conditional logit chooses worse.)
- ``sure``: a logistic regression, on beats that are chosen by the former: is one within 70 ms of a true one?

Writes both into ``weights.json``; the phase's weights stay.
"""

from __future__ import annotations

import json
import lzma
import pickle
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from arranger.grid.attacks import find_attacks
from arranger.grid.track.beat import all_readings, likelihoods, track_beat
from arranger.grid.track.evidence import find_evidence
from arranger.grid.track.networks.beats_heard import hear_song
from arranger.grid.track.readings import FEATURES
from arranger.grid.track.rivals import rivals
from arranger.grid.track.sureness import SURE_FEATURES, sure_features
from arranger.settings import GridSettings
from tests.benchmarks.performing import Played, perform
from tests.benchmarks.playing import play_freely
from tests.benchmarks.train_bars import piece_of, recorded
from tests.benchmarks.train_beats import kind_of

SHARPNESS, SURE_PENALTY = 0.08, 0.5
START = (0.35, 0.8, 0.5, 1.3, -2.5, 1.2, -1.9)
"""Where the search begins, in the order of `FEATURES`."""
TRIES, SCALES = 60, np.linspace(0.1, 2.0, 39)
RUBATO = (0.0, 0.3, 0.6, 1.0)
POP_RUBATO, POP_TIMES = (0.0, 0.3), 6
NEAR = 0.07
NOT_COUNTED = -9.0
WEIGHTS = Path(__file__).parents[2] / "arranger" / "grid" / "track" / "weights.json"


class Lesson(NamedTuple):
    """A performance: its readings, with their F-measures, and the beats that were found."""

    pop: bool
    features: Any
    quality: Any
    sure_rows: Any
    """`sure_features` of the beats that lie where the truth is known."""
    right: Any
    """Which of those are right."""


def f_measure(truth: Any, found: Any) -> float:
    """Return the F-measure of times within 70 ms, each matched once."""
    place = hits = 0
    for at in np.sort(truth):
        while place < len(found) and found[place] < at - NEAR:
            place += 1
        if place < len(found) and found[place] <= at + NEAR:
            hits, place = hits + 1, place + 1
    return 2 * hits / max(len(truth) + len(found), 1)


def performances(row: dict[str, Any], number: int) -> list[tuple[float, Played]]:
    """Return some performances of a piece and their amounts of rubato."""
    rng = np.random.default_rng(7 * number + 3)
    if row["comp"] == "pop":
        piece, seconds = piece_of(row), row["spq"] * float(np.median(np.diff(row["beats"])))
        even = [(rubato, perform(piece, number, seconds, rubato)) for rubato in POP_RUBATO]
        return [*even, *((0.0, recorded(row, rng)) for _ in range(POP_TIMES))]
    piece, found = piece_of(row), []
    for index, rubato in enumerate(RUBATO):
        seconds = float(np.clip(np.exp(rng.normal(np.log(0.66), 0.3)), 0.35, 1.3))
        found.append((rubato, perform(piece, 7 * number + index, seconds, rubato)))
        found.append((rubato, play_freely(piece, rng, seconds, rubato)))
    return found


def lesson(job: tuple[dict[str, Any], int]) -> list[Lesson]:
    """Return features and what is wanted, of the readings and of the beats of some performances."""
    found = []
    for _, done in performances(*job):
        notes = done.notes
        attacks = find_attacks(notes)
        evidence = find_evidence(notes, attacks)
        span = float(np.ptp(evidence.seconds))
        beat = track_beat(notes, attacks, None, GridSettings())
        if beat is None:
            continue
        heard = hear_song(notes, attacks, evidence)
        readings = all_readings(heard, span, None, GridSettings())
        bounds = (
            max(evidence.seconds[0], done.beats[0]),
            min(evidence.seconds[-1], done.beats[-1]),
        )

        def cut(times: Any, bounds: Any = bounds) -> Any:
            return times[(times >= bounds[0] - NEAR) & (times <= bounds[1] + NEAR)]

        quality = np.array([f_measure(cut(done.beats), cut(r.beats)) for r in readings])
        features = np.array([r.features for r in readings])
        inside = cut(beat.seconds)
        at = np.searchsorted(done.beats, inside)
        padded = np.concatenate(([-9e9], done.beats, [9e9]))
        right = np.minimum(inside - padded[at], padded[at + 1] - inside) <= NEAR
        kept = (beat.seconds >= bounds[0] - NEAR) & (beat.seconds <= bounds[1] + NEAR)
        likely = likelihoods(readings, None)
        share, _ = rivals(readings, likely, int(likely.argmax()))
        sure_rows = sure_features(heard, beat.seconds, share)[kept]
        found.append(Lesson(job[0]["comp"] == "pop", features, quality, sure_rows, right))
    return found


def fit_readings(lessons: list[Lesson]) -> Any:
    """Return the weights that choose best, scaled to say how likely each reading is."""
    most = max(len(each.quality) for each in lessons)
    features = np.zeros((len(lessons), most, len(FEATURES)))
    quality = np.full((len(lessons), most), NOT_COUNTED)
    for row, each in enumerate(lessons):
        features[row, : len(each.quality)] = each.features
        quality[row, : len(each.quality)] = each.quality
    counted, pop = quality > NOT_COUNTED, np.array([each.pop for each in lessons])

    def chosen(weights: Any) -> float:
        best = np.where(counted, features @ weights, -np.inf).argmax(axis=1)
        found = quality[np.arange(len(lessons)), best]
        return float(found[pop].mean() + found[~pop].mean())

    random, weights = np.random.default_rng(0), np.array(START)
    for _ in range(TRIES):
        tried = weights * np.exp(random.normal(0, 0.35, len(weights))) + random.normal(
            0, 0.2, len(weights)
        )
        if chosen(tried) > chosen(weights):
            weights = tried
    wanted = np.where(
        counted, np.exp((quality - quality.max(axis=1, keepdims=True)) / SHARPNESS), 0
    )
    wanted /= wanted.sum(axis=1, keepdims=True)

    def likelihood(scale: float) -> float:
        scores = np.where(counted, scale * (features @ weights), -np.inf)
        scores -= scores.max(axis=1, keepdims=True)
        logs = scores - np.log(np.exp(scores).sum(axis=1, keepdims=True))
        return float((wanted * np.where(counted, logs, 0)).sum(axis=1).mean())

    print("F chosen, of pop and scores together", chosen(weights) / 2)
    return weights * max(SCALES, key=likelihood)


def fit_sureness(rows: Any, right: Any, worth: Any) -> Any:
    weights = np.zeros(rows.shape[1])
    for _ in range(25):
        likely = 1.0 / (1.0 + np.exp(-rows @ weights))
        slope = rows.T @ (worth * (right - likely)) - SURE_PENALTY * weights
        curve = (rows.T * (worth * likely * (1 - likely))) @ rows + SURE_PENALTY * np.eye(
            len(weights)
        )
        weights = weights + np.linalg.solve(curve, slope)
    return weights


def main(pieces: Path) -> None:
    with lzma.open(pieces) as file:
        rows = pickle.load(file)
    jobs = [(row, n) for n, row in enumerate(rows) if kind_of(n, row) == "check" and row["sure"]]
    write("reading", FEATURES, fit_readings(lessons_of(jobs)))
    teach_sureness(lessons_of(jobs))


def lessons_of(jobs: list[tuple[dict[str, Any], int]]) -> list[Lesson]:
    """Return the lessons of some pieces, by the weights that are written now."""
    with ProcessPoolExecutor(2) as workers:
        return [found for some in workers.map(lesson, jobs, chunksize=4) for found in some]


def teach_sureness(lessons: list[Lesson]) -> None:
    """Fit and write what says how sure beats are; every performance counts alike."""
    worth = [np.full(len(each.right), 50.0 / max(len(each.right), 1)) for each in lessons]
    right = np.concatenate([each.right for each in lessons])
    rows = np.concatenate([each.sure_rows for each in lessons])
    write("sure", SURE_FEATURES, fit_sureness(rows, right, np.concatenate(worth)))


def write(kind: str, features: tuple[str, ...], weights: Any) -> None:
    """Write weights of a kind, beside the others."""
    named = json.loads(WEIGHTS.read_text(encoding="utf-8"))
    named[kind] = dict(zip(features, weights.round(4).tolist(), strict=True))
    WEIGHTS.write_text(json.dumps(named, indent=2) + "\n", encoding="utf-8")
    print(kind, named[kind])


if __name__ == "__main__":
    main(Path(sys.argv[1]))
