"""Measure bar lines: ``python -m tests.benchmarks.bar_lines POP909 POP909-CL [EVERY]``.

On the third of the corrected pop songs that `train_time` doesn't train on, without their metre (`pop_bars`
says where bars are): F of bar lines within 70 ms on the file's own beat, beside that of 4/4 from the first
tick; by ear, F of beats and bar lines, with the notes at the corrected and at the played places.
Goals: 0.98 on the file's beat, 0.85 by ear, beats 0.95.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import mir_eval.beat
import numpy as np

from arranger.engine import load_engine
from arranger.grid import plan_grid
from arranger.settings import GridSettings
from arranger.song.time import seconds_at
from tests.benchmarks.corpora import blinded
from tests.benchmarks.pop909 import held_out, names
from tests.benchmarks.pop_bars import TICKS, Truth, truth_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.song.model import Song

    Floats = NDArray[np.float64]

ENGINE = load_engine("twin-phase")
NEAR = 0.07


def f_measure(truth: Floats, found: Floats, span: tuple[float, float]) -> float:
    def inside(times: Floats) -> Floats:
        return np.sort(times[(times > span[0] - NEAR) & (times < span[1] + NEAR)])

    return float(mir_eval.beat.f_measure(inside(truth), inside(found)))


def by_ear(
    song: Song, beats: Floats, bars: Floats, span: tuple[float, float]
) -> tuple[float, float]:
    heard = blinded(song)
    grid = plan_grid(heard, ENGINE, GridSettings(beat="track"))
    assert grid.timeline is not None
    lines = seconds_at(heard, grid.timeline.bar_ticks)
    return f_measure(beats, np.array(grid.beats_seconds), span), f_measure(bars, lines, span)


def measured(truth: Truth) -> tuple[float, ...]:
    song = truth.song
    onsets = seconds_at(song, song.columns.onset)
    span = float(onsets.min()), float(onsets.max())
    bars, beats = (seconds_at(song, np.rint(at * TICKS)) for at in (truth.bars, truth.beats))
    grid = plan_grid(song, ENGINE)
    assert grid.timeline is not None
    own = f_measure(bars, seconds_at(song, grid.timeline.bar_ticks), span)
    usual = f_measure(bars, seconds_at(song, np.arange(0, song.end_tick, 4 * TICKS)), span)
    quarters, at = truth.map
    heard_beats, heard_bars = (np.interp(x, quarters, at) for x in (truth.beats, truth.bars))
    played = by_ear(truth.played, heard_beats, heard_bars, (float(at[0]), float(at[-1])))
    return usual, own, *by_ear(song, beats, bars, span), *played


def main(folder: Path, corrected: Path, every: int) -> None:
    found, odd, left_out = [], [], 0
    for name in held_out(names(corrected))[1][::every]:
        truth = truth_of(folder, corrected, name)
        if truth is None or not truth.sure:
            left_out += 1
            continue
        found.append(measured(truth))
        odd.append(truth.odd > 0)
    rows, is_odd = np.array(found), np.array(odd)
    print(f"{len(rows)} songs ({left_out} left out: where their bars begin isn't sure)")
    titles = (
        "4/4 from the first tick", "bars on the file's beat", "by ear, corrected: beats", "bars",
        "by ear, as played: beats", "bars",
    )  # fmt: skip
    for title, column in zip(titles, rows.T, strict=True):
        print(
            f"  {title}: {column.mean():.3f} (all bars alike, {np.count_nonzero(~is_odd)} songs: "
            f"{column[~is_odd].mean():.3f}; some odd: {column[is_odd].mean():.3f})"
        )


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 1)
