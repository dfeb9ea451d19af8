"""Measure beats and bars of performances: ``python -m tests.benchmarks.performed PIECES [EVERY]``.

PIECES is what `time_pieces` writes. The scores of held-out composers are played (`performing`, which the network
wasn't trained on) at several amounts of rubato; pop songs held out as recorded. Told are, by amount of
rubato and by metre: F of beats and of bar lines within 70 ms, the share of pieces whose metre is right
(beats a bar and the beat's level), of those right in kind (two or four, or three, at any level), of how many beats
are taken for dotted ones and are, and the
reliability: of beats called so sure, how many are within 70 ms of a true one.
Goals: beats 0.85, bars 0.60, metre 0.80.
"""

from __future__ import annotations

import lzma
import pickle
import sys
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from arranger.grid.attacks import find_attacks
from arranger.grid.track.beat import track_beat
from arranger.grid.tracked import beats_at, in_thirds
from arranger.settings import GridSettings
from tests.benchmarks.performing import Played, perform
from tests.benchmarks.train_bars import piece_of, recorded
from tests.benchmarks.train_beats import kind_of
from tests.benchmarks.train_readings import NEAR, RUBATO, f_measure

BOUNDS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.001)


def is_dotted(metre: tuple[int, int]) -> bool:
    return metre[1] >= 8 and metre[0] % 3 == 0


def usual(sizes: Any) -> int:
    return int(np.bincount(sizes).argmax()) if len(sizes) else 0


def measured(job: tuple[dict[str, Any], int, float]) -> tuple[Any, ...] | None:
    row, number, rubato = job
    rng = np.random.default_rng(7 * number + 3)
    if row["comp"] == "pop":
        done: Played = recorded(row, rng)
    else:
        piece = piece_of(row)
        seconds = float(np.clip(np.exp(rng.normal(np.log(0.66), 0.3)), 0.35, 1.3))
        done = perform(piece, 7 * number + 3, seconds, rubato)
    notes = done.notes
    beat = track_beat(notes, find_attacks(notes), None, GridSettings())
    if beat is None:
        return None
    first = max(float(notes.onset_seconds.min()), float(done.beats[0])) - NEAR
    last = min(float(notes.onset_seconds.max()), float(done.beats[-1])) + NEAR

    def cut(times: Any) -> Any:
        return times[(times >= first) & (times <= last)]

    bars = beat.heard.lines(beat.seconds)
    lines = bars.lines if bars is not None else np.arange(0, len(beat.seconds), 4)
    found = beat.seconds[lines[lines < len(beat.seconds)]]
    true_size = usual(np.diff(np.searchsorted(done.beats, done.bars - 1e-3)))
    size = usual(np.diff(lines))
    level = abs(np.log(60 / beat.bpm / np.median(np.diff(done.beats)))) < 0.15
    kept = (beat.seconds >= first) & (beat.seconds <= last)
    padded = np.concatenate(([-9e9], done.beats, [9e9]))
    at = np.searchsorted(done.beats, beat.seconds)
    right = np.minimum(beat.seconds - padded[at], padded[at + 1] - beat.seconds) <= NEAR
    return (
        row["comp"] == "pop", rubato, row["metre"],
        (f_measure(cut(done.beats), cut(beat.seconds)), f_measure(cut(done.bars), cut(found)),
         float(level and size == true_size), float((size % 3 == 0) == (true_size % 3 == 0))),
        beat.sure, beat.each_sure[kept], right[kept],
        in_thirds(beat, beats_at(beat.seconds, notes.onset_seconds)), level and is_dotted(row["metre"]),
    )  # fmt: skip


def tell(title: str, rows: list[Any]) -> None:
    beats, bars, metre, kind = np.mean([row[3] for row in rows], axis=0)
    print(
        f"  {title}: {len(rows)}, beats {beats:.3f}, bars {bars:.3f}, metre {metre:.2f} (in kind {kind:.2f})"
    )


def main(pieces: Path, every: int) -> None:
    with lzma.open(pieces) as file:
        rows = pickle.load(file)
    held = [(r, n) for n, r in enumerate(rows) if kind_of(n, r) == "held" and r["sure"]][::every]
    jobs = [
        (r, n, rubato) for r, n in held for rubato in (RUBATO if r["comp"] != "pop" else (0.0,))
    ]
    with ProcessPoolExecutor(2) as workers:
        found = [row for row in workers.map(measured, jobs, chunksize=4) if row is not None]
    scores = [row for row in found if not row[0]]
    print("scores of held-out composers")
    tell("all", scores)
    for rubato in RUBATO:
        tell(f"rubato {rubato}", [row for row in scores if row[1] == rubato])
    taken, dotted = np.array([row[-2:] for row in found], bool).T
    print(
        f"  beats taken for dotted ones: {taken.sum()}, are {(taken & dotted).sum()} of {dotted.sum()}"
    )
    groups = defaultdict(list)
    for row in scores:
        groups[row[2]].append(row)
    for metre, some in sorted(groups.items(), key=lambda item: -len(item[1])):
        tell(f"{metre[0]}/{metre[1]}", some)
    if pop := [row for row in found if row[0]]:
        tell("pop, as recorded", pop)
    for title, some in (("scores", scores), ("pop", [row for row in found if row[0]])):
        if some:
            sure, right = (np.concatenate([row[n] for row in some]) for n in (5, 6))
            print(f"reliability of beats, {title}")
            for low, high in pairwise(BOUNDS):
                inside = (sure >= low) & (sure < high)
                if inside.any():
                    print(f"  {low:.2f} to {min(high, 1):.2f}: {inside.sum()} beats, said "
                          f"{sure[inside].mean():.2f}, right {right[inside].mean():.2f}")  # fmt: skip


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
