"""How much of the tune is found, as a table.

    python -m tests.benchmarks.tune_finding FOLDER [--songs held-out|all] [--most N] [--sheet]
    python -m tests.benchmarks.tune_finding --scores [--most N]

FOLDER holds POP909 (see `tests.benchmarks.pop909`). By default only songs are measured that the tune
model was not trained on. Figures are shares of tune time heard at exact pitch, in semiquaver steps
of the file's own ticks, summed over all songs:

- ``highest``: the highest sounding note; ``high/low``: the highest or the lowest.
- ``weights``: the note with the greatest tune weight, as `arranger.reduce.worth.weigh.weigh` has it.
- ``sheet 1``, ``sheet``: voice 1, and either voice, of the finished sheet (with ``--sheet``), on the
  sheet's own grid: a tune note lasts until the next one.

``--scores`` measures chorales, quartets and other genres of music21's corpus instead (see
`tests.benchmarks.scores`), all parts flattened into one: the first part as the tune, and the last as
the bass, which ``lowest`` and ``bass`` are measured against.

Published for comparison, as classifiers of notes (F1) on this set: highest note 66.8 %, a
convolutional network 89.1 %, a large pretrained transformer 98.7 %.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from arranger.conversion import Conversion, convert
from arranger.engine import load_engine
from arranger.reduce.worth.note_table import cover
from arranger.reduce.worth.weigh import weigh
from arranger.rows import tones
from arranger.settings import ReduceSettings, Settings
from tests.benchmarks import pop909, scores

if TYPE_CHECKING:
    from arranger.song.model import Song

Steps = NDArray[np.int64]


def chosen(song: Song, step: int, size: int, score: NDArray[np.float64]) -> Steps:
    """Return the pitch of the sounding note with the highest score on each step, or -1.

    A likely tune note ends the one before it, as it does in a single line (a pedal would hold both).
    """
    start, stop = pop909.steps(song, step)
    line = np.unique(start[score > 0.5])
    after = np.append(line, size)[np.searchsorted(line, start, side="right")]
    stop = np.where(score > 0.5, np.minimum(stop, after), stop)
    stop = np.clip(stop, 1, size)
    start = np.minimum(start, stop - 1)
    order = np.argsort(score, kind="stable")
    top = cover(start[order], stop[order], np.arange(len(order)), size)
    pitch = np.array([note.pitch for note in song.notes])[order]
    return np.where(top < 0, -1, pitch[top])


def tune_steps(
    conversion: Conversion, is_tune: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], list[NDArray[np.bool_]], NDArray[np.bool_]]:
    """Return, for each step of a sheet, whether the tune sounds, whether each voice has it, and
    whether the step is silent so that a repetition is heard.

    ``is_tune`` tells for each note of the song whether it is of the tune.
    """
    grid, reduction = conversion.grid, conversion.reduction
    onset, end = grid.onset_steps[is_tune], grid.end_steps[is_tune]
    pitch = np.array([note.pitch for note in conversion.song.notes])[is_tune]
    after = np.append(np.unique(onset), grid.steps)
    end = np.minimum(end, after[np.searchsorted(after, onset, side="right")])
    tune = cover(onset, end, pitch, grid.steps)
    gaps = {
        entry.spans[-1].step + entry.spans[-1].steps
        for entry in reduction.ledger.entries
        if "shortened-for-gap" in entry.reasons and is_tune[entry.note] and entry.spans
    }
    silent = np.zeros(grid.steps, dtype=np.bool_)
    silent[[step for step in gaps if step < grid.steps]] = True
    rows = [tones(row) for row in (reduction.voice1, reduction.voice2)]
    hits = [tune == np.array([-1 if p is None else p for p in row]) for row in rows]
    sounds = tune >= 0
    return sounds, [hit & sounds for hit in hits], silent


def on_sheet(song: Song, is_tune: NDArray[np.bool_]) -> dict[str, float]:
    """Convert the song; return the share of tune steps that are heard, on the sheet's own grid.

    The last step of a note that is silent so that its repetition is heard counts as heard.
    """
    conversion = convert(song, load_engine("twin-phase"), Settings())
    sounds, hits, silent = tune_steps(conversion, is_tune)
    return {
        "sheet 1": float((hits[0] | silent)[sounds].mean()),
        "sheet": float((hits[0] | hits[1] | silent)[sounds].mean()),
    }


def measure(folder: Path, name: str, kind: str, sheet: bool) -> dict[str, float]:
    """Return the steps found by each way, and the steps of the tune."""
    song = pop909.song(folder, name, kind)
    tune, step = pop909.truth(folder, name, kind)
    size = len(tune)
    pitch = np.array([note.pitch for note in song.notes], dtype=np.float64)
    weights = weigh(song, ReduceSettings())
    highest = chosen(song, step, size, pitch - 1000)
    lowest = chosen(song, step, size, -pitch)
    found = {
        "highest": tune == highest,
        "high/low": (tune == highest) | (tune == lowest),
        "weights": tune == chosen(song, step, size, weights.tune + 1e-6 * pitch),
    }
    heard = {}
    if sheet:
        heard = on_sheet(song, pop909.is_tune(folder, name, kind))
    sounds = tune >= 0
    counted = {way: float(hit[sounds].sum()) for way, hit in found.items()}
    counted |= {way: share * float(sounds.sum()) for way, share in heard.items()}
    return counted | {"steps": float(sounds.sum())}


def measure_score(song: Song) -> dict[str, float]:
    """Return the same for a score, all parts in one, and how much of the bass is found."""
    step = song.ticks_per_beat // 4
    size = int(pop909.steps(song, step)[1].max())
    lines = [
        chosen(
            replace(song, notes=tuple(note for note in song.notes if note.part == part)),
            step, size, np.zeros(song.parts[part].notes),
        )
        for part in (0, len(song.parts) - 1)
    ]  # fmt: skip
    flat = pop909.flattened(song)
    pitch = np.array([note.pitch for note in flat.notes], dtype=np.float64)
    weights = weigh(flat, ReduceSettings())
    scored = {
        "highest": (lines[0], pitch - 1000),
        "weights": (lines[0], weights.tune + 1e-6 * pitch),
        "lowest": (lines[1], -pitch),
        "bass": (lines[1], weights.bass - 1e-6 * pitch),
    }
    return {
        way: float(np.mean((line == chosen(flat, step, size, score))[line >= 0]))
        for way, (line, score) in scored.items()
    } | {"steps": 1.0}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--scores", action="store_true")
    parser.add_argument("--songs", choices=("held-out", "all"), default="held-out")
    parser.add_argument("--most", type=int, default=1000)
    parser.add_argument("--kind", action="append", choices=pop909.KINDS)
    parser.add_argument("--sheet", action="store_true", help="convert each song as well (slow)")
    parser.add_argument("--each", action="store_true", help="a line for every song")
    given = parser.parse_args()
    if given.scores:
        for kind in scores.KINDS:
            rows = [measure_score(s) for s in islice(scores.songs(kind, odd=True), given.most)]
            _line(f"{kind}, {len(rows)} scores", rows)
        return
    if given.folder is None:
        parser.error("a folder, or --scores")
    every = pop909.names(given.folder)
    names = every if given.songs == "all" else pop909.held_out(every)[1]
    for kind in given.kind or pop909.KINDS:
        rows = []
        for name in names[: given.most]:
            rows.append(measure(given.folder, name, kind, given.sheet))
            if given.each:
                _line(f"{kind} {name}", rows[-1:])
        _line(f"{kind}, {len(rows)} songs", rows)


def _line(label: str, rows: list[dict[str, float]]) -> None:
    steps = sum(row["steps"] for row in rows)
    ways = [way for way in rows[0] if way != "steps"]
    cells = "".join(f"  {way} {sum(r[way] for r in rows) / steps:6.1%}" for way in ways)
    least = min(row[ways[-1]] / max(row["steps"], 1) for row in rows)
    sys.stdout.write(f"{label:24}{cells}  (least {least:.1%})\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
