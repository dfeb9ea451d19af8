"""Real songs through every engine, texture, drum amount and key: does each convert, do all laws hold?

    python -m tests.benchmarks.real_songs FOLDER [--first N] [--every N] [--limits N]

Every MIDI file of the folder is converted with every engine x texture x drum amount x transposition
(0, auto), and every Nth of these (``--limits``, default 1) once more with a limit of bytes. Counted
are stops (an error of our family), tracebacks (any other exception) and broken laws (each note once,
no entry and no row that contradicts the other). Goal: 0 of each. Songs that can't be made so small
are counted apart: they are told so by design.
"""

from __future__ import annotations

import argparse
import itertools
import traceback
from collections import Counter
from dataclasses import replace
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

from arranger.conversion import measure_of
from arranger.engine import load_engine
from arranger.errors import ArrangerError, LimitError
from arranger.grid import plan_grid
from arranger.reduce import check_conservation, reduce
from arranger.reduce.tell.laws import broken_entries, broken_rows
from arranger.reduce.worth.weigh import weigh
from arranger.settings import DRUM_AMOUNTS, TEXTURES, GridSettings, ReduceSettings
from arranger.song import read_song

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.grid.model import Grid
    from arranger.reduce.worth.weights import Weights
    from arranger.song.model import Song

TUNABLE = tuple(texture for texture in TEXTURES if texture != "as-written")
LIMIT = 900
"""Bytes: less than most songs take freely, enough for many."""
ENGINES = ("twin-phase", "twin-counter", "pc-alternate")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--first", type=int, default=10_000)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--limits", type=int, default=1)
    asked = parser.parse_args()
    paths = sorted(asked.folder.glob("*.mid"))[:: asked.every][: asked.first]
    counts: Counter[str] = Counter()
    slowest = (0.0, "")
    number = itertools.count()
    for path in paths:
        for engine in map(load_engine, ENGINES):
            begun = perf_counter()
            song = read_song(path)
            grid = plan_grid(song, engine, GridSettings())
            weights = weigh(
                song, ReduceSettings()
            )  # what notes are worth hangs on no other setting
            for texture, amount, key in itertools.product(TUNABLE, DRUM_AMOUNTS, (0, "auto")):
                choice = ReduceSettings(texture=texture, drums=amount, transpose=key)
                tight = next(number) % asked.limits == 0
                for limit in (None, LIMIT) if tight else (None,):
                    look(song, engine, grid, weights, replace(choice, max_bytes=limit), counts)
            slowest = max(slowest, (perf_counter() - begun, f"{path.name} {engine.name}"))
        print(path.name, dict(counts), flush=True)
    print(f"{len(paths)} songs: {dict(counts)}; slowest (all settings) {slowest}")


def look(
    song: Song,
    engine: Engine,
    grid: Grid,
    weights: Weights,
    settings: ReduceSettings,
    counts: Counter[str],
) -> None:
    """Reduce once; count what goes wrong, and tell it."""
    what = f"{song.file} {engine.name} {settings}"
    try:
        found = reduce(song, engine, grid, settings, measure_of(engine, grid), weights)
        check_conservation(found.ledger, len(song.notes))
    except LimitError:
        counts["too large"] += 1
        return
    except ArrangerError as error:
        counts["stops"] += 1
        print(f"STOP {what}: {error}")
        return
    except Exception:  # noqa: BLE001 - whatever it is, it is counted
        counts["tracebacks"] += 1
        print(f"TRACEBACK {what}")
        traceback.print_exc()
        return
    counts["converted"] += 1
    broken = [*broken_entries(engine, found), *broken_rows(engine, found)]
    counts["broken laws"] += len(broken)
    for each in broken[:3]:
        print(f"BROKEN {what}: {each}")


if __name__ == "__main__":
    main()
