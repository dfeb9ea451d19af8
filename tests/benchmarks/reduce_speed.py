"""How long the reduction takes, against the length of the song, and where the time goes.

    python -m tests.benchmarks.reduce_speed SONG.mid [SONG.mid ...]

Each song is repeated until it has about 1,000, 2,000, 4,000 and 8,000 notes. Times are processor
seconds, the least of five runs; the last column is the time a note against that of the first row,
so 1.0 throughout means linear.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.engine import load_engine
from arranger.grid import plan_grid
from arranger.reduce import reduce
from arranger.reduce.choose.optimum import solve
from arranger.reduce.choose.prepare import prepare, rates
from arranger.reduce.choose.price import price
from arranger.settings import Settings
from arranger.song import read_song

if TYPE_CHECKING:
    from collections.abc import Callable

    from arranger.song.model import Song

SIZES = (1000, 2000, 4000, 8000)
RUNS = 5


def repeated(song: Song, notes: int) -> Song:
    """Return the song played again and again, a bar line between, until it has enough notes."""
    length = -(-song.end_tick // (4 * song.ticks_per_beat)) * 4 * song.ticks_per_beat
    times = max(round(notes / len(song.notes)), 1)
    every = [n._replace(onset=n.onset + i * length) for i in range(times) for n in song.notes]
    return replace(song, notes=tuple(n._replace(id=i) for i, n in enumerate(every)))


def seconds(work: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(RUNS):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def main() -> None:
    engine = load_engine("twin-phase")
    settings = Settings()
    names = ("notes", "steps", "segments", "prepare", "price", "solve", "all", "a note")
    for path in map(Path, sys.argv[1:]):
        print(path.stem)
        print("".join(f"{name:>10}" for name in names))
        first = None
        for size in SIZES:
            song = repeated(read_song(path), size)
            grid = plan_grid(song, engine, settings.grid)
            made = prepare(song, engine, grid, settings.reduce)
            costs = price(rates(made, grid))
            parts = (
                lambda s=song, g=grid: prepare(s, engine, g, settings.reduce),
                lambda m=made, g=grid: price(rates(m, g)),
                lambda c=costs: solve(c),
                lambda s=song, g=grid: reduce(s, engine, g, settings.reduce),
            )
            taken = [seconds(part) for part in parts]
            each = taken[-1] / len(song.notes)
            first = each if first is None else first
            counts = (len(song.notes), grid.steps, len(made.problem.starts))
            cells = [f"{count:10}" for count in counts] + [f"{t * 1e3:8.1f}ms" for t in taken]
            print("".join(cells) + f"{each / first:10.2f}")


if __name__ == "__main__":
    main()
