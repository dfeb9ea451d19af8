"""Look at the steps chosen for written scores: ``python -m tests.benchmarks.written_grids COUNT`` or ``... PIECES``.

Takes COUNT scores of music21's corpus, or all that `time_pieces` wrote into a file, exactly as written. A step
is wrong if

- more than 1 in 100 notes merge though another step keeps them apart, or, past four steps a beat, 3 in 100
- any notes merge, or triplets lose their places, and the summary doesn't say so
- more than 1 in 20 onsets are of triplets, the step isn't a triple one, and the bars aren't told
- the metre is compound and the step longer than half a beat
- it is finer than one that holds 97 in 100 attacks and merges none of more than 1 in 100 notes
- the file is taken for a played one.

Goal: 98 in 100 right.
"""

from __future__ import annotations

import lzma
import pickle
import sys
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.engine import load_engine
from arranger.grid import plan_grid
from arranger.grid.steps.step_words import step_sentence
from tests.benchmarks.corpora import Score, scores
from tests.benchmarks.song_steps import raster
from tests.grid.songs import song_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.grid import Grid
    from arranger.song.model import Song

ENGINE = load_engine("twin-phase")
FEWEST, MOST = 40, 6000
NEAR = 0.01
EASY = 4
"""Steps a beat that are easily counted."""


def pieces(path: Path) -> Iterator[Score]:
    """Yield the scores that `time_pieces` wrote."""
    data = path.read_bytes()
    rows = pickle.loads(lzma.decompress(data) if path.suffix == ".xz" else data)
    for row in rows:
        if row["comp"] == "pop" or not FEWEST <= len(row["onset"]) <= MOST:
            continue
        parts: dict[int, list[tuple[float, float, int]]] = {}
        columns = (row[name].tolist() for name in ("part", "onset", "length", "pitch"))
        for part, onset, length, pitch in zip(*columns, strict=True):
            parts.setdefault(part, []).append((onset, length, int(pitch)))
        first = float(row["bars"][0])
        pickup = first if first < 4 * row["metre"][0] / row["metre"][1] else 0.0
        yield Score(f"{row['comp']}/{row['name']}", list(parts.values()), row["metre"], pickup)


def starts(score: Score) -> list[float]:
    """Return where the metre is stated: at the beginning, and again after a pickup."""
    return [0.0, score.pickup] if score.pickup > NEAR else [0.0]


def faults(score: Score, song: Song, grid: Grid) -> list[str]:
    best = grid.alternatives[0]
    notes = len(song.notes)
    fewest = min(choice.collided for choice in grid.alternatives)
    few = notes // 100 if grid.step_beats > Fraction(1, EASY) else 3 * notes // 100
    onsets = [onset for part in score.parts for onset, _, _ in part]
    thirds = sum(
        abs(onset * 3 - round(onset * 3)) < 0.01 < abs(onset * 8 - round(onset * 8))
        for onset in onsets
    )
    told = step_sentence(grid.alternatives)
    bars_told = any("triplets" in remark or "swung" in remark for remark in grid.remarks)
    own = raster(song, grid)
    merged = {choice.step_beats: choice.collided for choice in grid.alternatives}
    compound = score.metre[1] >= 8 and score.metre[0] % 3 == 0
    holds = own <= Fraction(1, EASY) or merged.get(own, notes) <= notes // 100
    found = {
        "taken for played": grid.basis != "file",
        "merges": best.collided - fewest > few,
        "merges, NOT said": best.collided > 0 and "merge" not in told,
        "compound without triple step": compound and grid.step_beats > Fraction(1, 2),
        "triplets without triple step": thirds > 0.05 * len(onsets)
        and grid.step_beats.denominator % 3 != 0
        and not bars_told,
        "finer than its notes": grid.step_beats < own and holds,
    }
    return [fault for fault, is_so in found.items() if is_so]


def main(what: str) -> None:
    steps: Counter[str] = Counter()
    counts: Counter[str] = Counter()
    seen = wrong = 0
    for score in pieces(Path(what)) if not what.isdecimal() else scores(int(what), seed=7):
        seen += 1
        song = song_of(*score.parts, metres=tuple((at, *score.metre) for at in starts(score)))
        grid = plan_grid(song, ENGINE)
        steps[str(grid.step_beats)] += 1
        found = faults(score, song, grid)
        wrong += bool(found)
        counts.update(found)
        if found:
            print(f"{score.name}: {', '.join(found)}; {step_sentence(grid.alternatives)}")
    print(f"{seen} scores; steps {dict(steps)}; right {1 - wrong / seen:.3f}; {dict(counts)}")


if __name__ == "__main__":
    main(sys.argv[1])
