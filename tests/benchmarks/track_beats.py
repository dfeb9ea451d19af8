"""Measure beat tracking: ``python -m tests.benchmarks.track_beats FOLDER [EVERY]``.

FOLDER is a folder of played-in songs (see `corpora`); of it the half that `train_phase` doesn't train
on is measured, or every EVERY-th song of that half. Three ways:

- as they are: the files' tempo maps count as evidence
- blind: notes at the same seconds, tempo and metre maps taken away
- blind, but the level given (the tempo option)

and scores of music21's corpus that the weights weren't trained on, played by the model of a person.
"""

from __future__ import annotations

import sys
import time
from fractions import Fraction
from pathlib import Path

import numpy as np

from arranger.engine import load_engine
from arranger.grid import plan_grid
from arranger.settings import GridSettings
from arranger.song.time import seconds_at
from tests.benchmarks.corpora import Case, folder_cases, played_case, scores
from tests.benchmarks.scores import BEAT_SCORES, BEAT_SEED
from tests.benchmarks.train_phase import f_measure

ENGINE = load_engine("twin-phase")
QUARTER = Fraction(1, 4)
CONDITIONS = ((0.010, 0.03), (0.020, 0.03), (0.040, 0.10))


def beats_of(case: Case, settings: GridSettings):
    grid = plan_grid(case.song, ENGINE, settings)
    if grid.basis == "tracked":
        return grid, np.array(grid.beats_seconds)
    ticks = np.arange(0, case.song.end_tick, case.song.ticks_per_beat)
    return grid, seconds_at(case.song, ticks)


def steps_right(grid, truth) -> float:
    """Return the share of notes on the step nearest to the truth, in quarter-beats.

    ``truth`` are positions in beats, NaN for notes outside of the annotation. One shift of the whole
    song is allowed, since the annotation may begin elsewhere.
    """
    at = grid.onset_steps * float(grid.step_beats) * 4
    off = np.round(at - np.rint(truth * 4), 3)[~np.isnan(truth)]
    return float(np.unique(off, return_counts=True)[1].max() / len(off)) if len(off) else 0.0


def measure_folder(folder: Path, every: int, *, blind: bool, level: bool) -> None:
    found = []
    for index, case in enumerate(folder_cases(folder, blind=blind)):
        if index % (2 * every) != 1:
            continue
        tempo = 60.0 / float(np.median(np.diff(case.beats))) if level else None
        settings = GridSettings(tempo=tempo, beat="track" if blind else "auto")
        grid, beats = beats_of(case, settings)
        onsets = seconds_at(case.song, [note.onset for note in case.song.notes])
        numbers = np.arange(len(case.beats))
        truth = np.interp(onsets, case.beats, numbers, left=np.nan, right=np.nan)
        quarters = plan_grid(
            case.song, ENGINE, GridSettings(tempo=tempo, beat=settings.beat, step=QUARTER)
        )
        found.append(
            (f_measure(case.beats, beats), steps_right(grid, truth), steps_right(quarters, truth))
        )
    mean = np.mean(found, axis=0)
    name = "as they are" if not blind else "blind, level given" if level else "blind"
    print(
        f"{name}: {len(found)} songs, F {mean[0]:.3f}, steps right {mean[1]:.3f} "
        f"(on a quarter-beat step {mean[2]:.3f}), F below 0.5: {sum(f[0] < 0.5 for f in found)}",
        flush=True,
    )


def measure_played(count: int) -> None:
    trained = {score.name for score in scores(BEAT_SCORES, BEAT_SEED)}
    fresh = [score for score in scores(count, BEAT_SEED + 1) if score.name not in trained]
    for jitter, drift in CONDITIONS:
        found = []
        for index, score in enumerate(fresh):
            case = played_case(score, 1000 + index, jitter_seconds=jitter, drift=drift)
            for tempo in (None, 60.0 / float(np.median(np.diff(case.beats)))):
                settings = GridSettings(beat="track", step=QUARTER, tempo=tempo)
                grid, beats = beats_of(case, settings)
                found.append((f_measure(case.beats, beats), steps_right(grid, case.score_beats)))
        blind, level = np.mean(found[::2], axis=0), np.mean(found[1::2], axis=0)
        print(
            f"played, {1000 * jitter:.0f} ms and {100 * drift:.0f} %: {len(fresh)} scores, "
            f"F {blind[0]:.3f}, steps right {blind[1]:.3f}; level given "
            f"F {level[0]:.3f}, steps right {level[1]:.3f}",
            flush=True,
        )


def main(folder: Path, every: int) -> None:
    start = time.perf_counter()
    for blind, level in ((False, False), (True, False), (True, True)):
        measure_folder(folder, every, blind=blind, level=level)
    measure_played(60 // every)
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
