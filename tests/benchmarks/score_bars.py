"""Measure bars of written scores: ``python -m tests.benchmarks.score_bars PIECES [--check]``.

PIECES is what `time_pieces` writes. Scores of composers that `train_bars` doesn't train on, exactly as written on
their own beat, without a word of their metre: whether the commonest bar has the metre's length and name, and F of bar
lines, by metre. Then with the metre that is written: how often the summary would say that the music has other
bars (`arranger.grid.bars.disputed`), a false alarm. ``--check``: on the other composers' scores that settings are chosen by (with a network
that wasn't trained on ``--all``).
"""

from __future__ import annotations

import lzma
import pickle
import sys
from collections import defaultdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import mir_eval.beat
import numpy as np

from arranger.engine import load_engine
from arranger.grid import heard_bars, plan_grid
from arranger.settings import GridSettings
from tests.benchmarks.train_bars import kind_of
from tests.grid.songs import TICKS, song_of

if TYPE_CHECKING:
    from arranger.song.model import Song

ENGINE = load_engine("twin-phase")
BPM = 100.0
NEAR = 0.1
"""Quarters."""


def song_from(row: dict[str, Any], metres: tuple[tuple[float, int, int], ...] = ()) -> Song:
    """Return a score as a song; without ``metres`` it says none."""
    parts: dict[int, list[tuple[float, float, int]]] = defaultdict(list)
    for part, *note in zip(*(row[key].tolist() for key in COLUMNS), strict=True):
        parts[part].append(tuple(note))  # type: ignore[arg-type]
    said = {"metres": metres} if metres else {"metre_said": False}
    return song_of(*parts.values(), bpm=BPM, **said)  # type: ignore[arg-type]


COLUMNS = ("part", "onset", "length", "pitch")


def measured(row: dict[str, Any]) -> tuple[float, ...]:
    """Return whether length and name of bars are right, F of bar lines and of 4/4, and whether the written
    metre is contradicted."""
    top, bottom = row["metre"]
    grid = plan_grid(song_from(row), ENGINE, GridSettings(beat="file"))
    assert grid.timeline is not None
    bars = np.asarray(row["bars"], np.float64)
    begin, end = float(row["onset"].min()) - NEAR, float(row["onset"].max()) + NEAR

    def f(lines: Any) -> float:
        inside = [np.sort(x[(x > begin) & (x < end)]) for x in (bars, lines)]
        return float(mir_eval.beat.f_measure(*inside, f_measure_threshold=NEAR))

    found: dict[tuple[int, int], int] = defaultdict(int)
    for label in grid.timeline.labels:
        found[label.numerator, label.denominator] += 1
    heard = max(found, key=found.__getitem__)
    compound = bottom >= 8 and top % 3 == 0 and top > 3
    same_kind = (heard[1] >= 8 and heard[0] % 3 == 0 and heard[0] > 3) == compound
    length = abs(heard[0] / heard[1] - top / bottom) < 1e-6
    written = ((0.0, top, bottom), (float(bars[0]), top, bottom))
    song = song_from(row, written if bars[0] > NEAR else written[:1])
    told = heard_bars(song, plan_grid(song, ENGINE, GridSettings(beat="file")))
    lines = grid.timeline.bar_ticks / TICKS
    return (
        float(length), float(length and same_kind), f(lines), f(np.arange(0.0, end + 4, 4.0)),
        float(told is not None),
    )  # fmt: skip


def main(pieces: Path, kind: str) -> None:
    with lzma.open(pieces) as file:
        rows = list(enumerate(pickle.load(file)))
    by_metre: dict[str, list[tuple[float, ...]]] = defaultdict(list)
    for number, row in rows:
        if row["comp"] != "pop" and kind_of(number, row) == kind:
            by_metre["{}/{}".format(*row["metre"])].append(measured(row))
    every = [found for each in by_metre.values() for found in each]
    for name, each in [*sorted(by_metre.items(), key=lambda x: -len(x[1])), ("all", every)]:
        length, named, ours, usual, told = np.mean(each, axis=0)
        print(
            f"{name}: {len(each)} scores; length of bars right {length:.2f}, and beats of a kind {named:.2f}; F "
            f"of bar lines {ours:.3f} (4/4 from the first tick {usual:.3f}); told {100 * told:.1f} %"
        )


if __name__ == "__main__":
    main(Path(sys.argv[1]), "check" if "--check" in sys.argv else "held")
