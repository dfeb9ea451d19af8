"""Whether songs get finer steps than their notes need: ``python -m tests.benchmarks.song_steps FOLDER [--every N] [--beat file]``.

The raster of a song is the coarsest step on which 97 in 100 of its attacks (onsets of all parts, those within
35 ms together) stand, within 10 ms at the song's tempo, or 30 ms where the beat was found by ear: counted
here from the notes, not as the choice does. Goal: no song has a finer step, none misses the tempo by more
than 3 %. Told besides: how often the step is coarser (few notes, or uneven playing), what notes are lost by it,
and with --heard what is heard of tune and bass.
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from arranger import convert
from arranger.engine import load_engine
from arranger.errors import ArrangerError
from arranger.grid import plan_grid
from arranger.report import summary
from arranger.settings import STEP_CHOICES, GridSettings, Settings
from arranger.song import read_song
from arranger.song.time import timed_columns

if TYPE_CHECKING:
    from fractions import Fraction

    from numpy.typing import NDArray

    from arranger.grid import Grid
    from arranger.song.model import Song

NEARLY_ALL = 0.97
TOGETHER = 0.035
WRITTEN, PLAYED = 0.010, 0.030
FEW = 3.0
"""Percent by which a tempo may be missed."""


def raster(song: Song, grid: Grid) -> Fraction:
    """Return the coarsest step on which nearly all attacks stand; the finest if there is none."""
    notes = timed_columns(song)
    assert grid.timeline is not None
    order = np.argsort(notes.onset_seconds, kind="stable")
    seconds = notes.onset_seconds[order]
    # Where swing is played, the notes stand where it puts them.
    beats = (grid.positions * float(grid.step_beats))[order]
    group = _groups(seconds.tolist())
    mean = np.bincount(group, beats) / np.bincount(group)
    most = (PLAYED if grid.basis == "tracked" else WRITTEN) * grid.asked_bpm / 60.0
    for step in STEP_CHOICES:
        places = mean / float(step)
        if np.mean(np.abs(places - np.rint(places)) * float(step) <= most) >= NEARLY_ALL:
            return step
    return STEP_CHOICES[-1]


def _groups(seconds: list[float]) -> NDArray[np.int64]:
    """Return which attack each onset belongs to, in order: those within `TOGETHER` of the first one."""
    groups: list[int] = []
    first, number = -1.0, -1
    for at in seconds:
        if number < 0 or at - first > TOGETHER:
            first, number = at, number + 1
        groups.append(number)
    return np.array(groups)


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("folder", type=Path)
    options.add_argument("--every", type=int, default=1)
    options.add_argument("--beat", default="auto")
    options.add_argument("--engine", default="twin-phase")
    options.add_argument("--heard", action="store_true")
    given = options.parse_args()
    engine = load_engine(given.engine)
    counts: Counter[str] = Counter()
    heard: list[tuple[int, ...]] = []
    for path in sorted(given.folder.rglob("*.mid"))[:: given.every]:
        try:
            song = read_song(path)
            grid = plan_grid(song, engine, GridSettings(beat=given.beat))
        except ArrangerError:
            counts["unreadable"] += 1
            continue
        own = raster(song, grid)
        swung = any(remark.startswith("swing") for remark in grid.remarks)
        off = abs(grid.played_bpm / grid.asked_bpm - 1) * 100
        best = grid.alternatives[0]
        faults = []
        if grid.step_beats < own and not swung:
            faults.append("FINER")
        if off > FEW:
            faults.append("OFF TEMPO")
        counts["songs"] += 1
        counts[f"step {grid.step_beats}"] += 1
        counts["coarser"] += grid.step_beats > own
        counts.update(faults)
        lost = 100 * (best.collided + best.misplaced) / len(song.notes)
        print(
            f"{path.stem}: step {grid.step_beats}, raster {own}, {best.collided} merge, "
            f"{best.misplaced} off their places ({lost:.1f} %), tempo {off:.1f} % off {' '.join(faults)}",
            flush=True,
        )
        if given.heard:
            found = summary(convert(song, engine, Settings(grid=GridSettings(beat=given.beat))))
            heard.append(tuple(-1 if each is None else each for each in found.heard))
    print(dict(counts))
    if heard:
        table = np.ma.masked_less(np.array(heard), 0)
        print("heard: tune, bass, harmony, drums", table.mean(axis=0).round(2).tolist())


if __name__ == "__main__":
    main()
