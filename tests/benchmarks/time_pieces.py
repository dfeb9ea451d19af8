"""Write the pieces that `train_bars` and `train_beats` train on: ``python -m tests.benchmarks.time_pieces POP909 POP909-CL OUT``.

Scores of music21's corpus, with their bar lines (some of each composer or collection, `MOST`; bars cut by
a repeat are one, a pickup is none), and the corrected pop songs (`pop_bars`), also as they were played.
Every third pop song and all of `HELD_OUT` are marked as held out. Takes about 20 minutes.
"""

from __future__ import annotations

import lzma
import pickle
import random
import sys
import warnings
from pathlib import Path
from typing import Any

import numpy as np
from music21 import converter, corpus, harmony

from arranger.song.time import seconds_at
from tests.benchmarks.pop909 import held_out, names
from tests.benchmarks.pop_bars import TICKS, truth_of

HELD_OUT = {
    "mozart", "schumann_robert", "schumann_clara", "joplin", "airdsAirs", "trecento", "corelli", "chopin",
}  # fmt: skip
MOST = {"bach": 200, "palestrina": 70, "ryansMammoth": 330, "trecento": 40}
LEFT_OUT = {"demos", "theoryExercises", "leadSheet"}
TUNES_A_BOOK = 14
SUFFIXES = (".mxl", ".xml", ".krn", ".abc", ".musicxml")
MOST_BARS = 200


def score_paths() -> list[tuple[str, str]]:
    """Return a composer or collection and a file, in a seeded order."""
    found: dict[str, list[str]] = {}
    for path in sorted(map(str, corpus.getCorePaths(fileExtensions=SUFFIXES))):
        found.setdefault(path.split("/corpus/")[1].split("/")[0], []).append(path)
    rng, rows = random.Random(5), []
    for name in sorted(found.keys() - LEFT_OUT):
        rng.shuffle(found[name])
        rows += [(name, path) for path in found[name][: MOST.get(name)]]
    return rows


def score_row(name: str, composer: str, score: Any) -> dict[str, Any] | None:
    """Return a score as columns in quarter notes, or None if its bars can't be told."""
    score = score.stripTies()
    parts = list(getattr(score, "parts", ())) or [score]
    rows = [
        (float(element.offset), float(element.quarterLength), int(pitch.midi), number)
        for number, part in enumerate(parts)
        for element in part.flatten().notes
        if not element.duration.isGrace and not isinstance(element, harmony.ChordSymbol)
        for pitch in getattr(element, "pitches", ())
    ]
    measures = [float(measure.offset) for measure in parts[0].getElementsByClass("Measure")]
    metres = sorted(
        (float(found.getOffsetInHierarchy(parts[0])), found.numerator, found.denominator)
        for found in parts[0].recurse().getElementsByClass("TimeSignature")
    )
    if len(rows) < 40 or len(measures) < 6 or not metres:
        return None
    onset, length, pitch, part = (np.array(column) for column in zip(*rows, strict=True))
    bars, beats = _bars(np.unique(np.round(measures, 6)), metres)
    if len(bars) < 5:
        return None
    step = float(np.median(np.diff(beats)))
    before = bars[0] - step * np.arange(int((bars[0] - onset.min()) / step + 1e-6), 0, -1)
    beats = np.concatenate((before, beats))
    if len(bars) > MOST_BARS:
        end = bars[MOST_BARS]
        kept = onset < end
        onset, length, pitch, part = (x[kept] for x in (onset, length, pitch, part))
        bars, beats = bars[: MOST_BARS + 1], beats[beats <= end + 1e-6]
    return _row(name, composer, metres[0][1:], (onset, length, pitch, part), (bars, beats)) | {
        "held": composer in HELD_OUT, "sure": True, "loud": None, "spq": None,
    }  # fmt: skip


def _bars(measures: Any, metres: list[tuple[float, int, int]]) -> tuple[Any, Any]:
    """Return bar lines and beats; none where too many measures have another length than their metre."""
    starts = np.array([metre[0] for metre in metres])
    lines: list[list[float]] = []
    for place, begin in enumerate(measures):
        _, top, bottom = metres[max(int(np.searchsorted(starts, begin + 1e-6)) - 1, 0)]
        full = 4 * top / bottom
        size = (measures[place + 1] if place + 1 < len(measures) else begin + full) - begin
        short = size < full - 1e-6
        if short and not place:
            continue
        if short and lines and abs(lines[-1][1] + size - full) < 1e-6:
            lines[-1][1] += size
            continue
        compound = bottom >= 8 and top % 3 == 0
        lines.append([begin, size, full, 4 / bottom * (3 if compound else 1)])
    right = [abs(size - full) < 1e-6 for _, size, full, _ in lines]
    if not lines or np.mean(right) < 0.85:
        return np.zeros(0), np.zeros(0)
    beats = [np.arange(begin, begin + size - 1e-6, beat) for begin, size, _, beat in lines]
    return np.array([line[0] for line in lines]), np.concatenate(beats)


def pop_row(folder: Path, corrected: Path, name: str, held: bool) -> dict[str, Any] | None:
    truth = truth_of(folder, corrected, name)
    if truth is None:
        return None
    ours, theirs = truth.song.columns, truth.played.columns
    quarters, at = truth.map
    start = seconds_at(truth.played, theirs.onset)
    notes = (ours.onset / TICKS, ours.duration / TICKS, ours.pitch, ours.part)
    beats, bars = (
        np.interp(x, quarters, at, left=np.nan, right=np.nan) for x in (truth.beats, truth.bars)
    )
    heard = {
        "onset": _small(start), "end": _small(seconds_at(truth.played, theirs.end)),
        "pitch": theirs.pitch.astype(np.int8), "part": theirs.part.astype(np.int8),
        "loud": _small(theirs.loudness),
    }  # fmt: skip
    return _row(name, "pop", truth.metre, notes, (truth.bars, truth.beats)) | {
        "held": held, "sure": truth.sure, "known": truth.known, "loud": _small(ours.loudness), "perf": heard,
        "spq": float(np.median(np.diff(at) / np.maximum(np.diff(quarters), 1e-9))),
        "perf_beats": _small(beats), "perf_bars": _small(bars),
        "perf_beat_of": _small(np.interp(start, at, quarters)),
    }  # fmt: skip


def _row(name: str, composer: str, metre: Any, notes: Any, lines: Any) -> dict[str, Any]:
    onset, length, pitch, part = notes
    return {
        "name": name, "comp": composer, "metre": metre, "onset": _small(onset), "length": _small(length),
        "pitch": pitch.astype(np.int8), "part": part.astype(np.int8),
        "bars": _small(lines[0]), "beats": _small(lines[1]),
    }  # fmt: skip


def _small(column: Any) -> Any:
    return np.asarray(column, np.float32)


def score_rows() -> Any:
    for composer, path in score_paths():
        try:
            parsed = corpus.parse(path)
            found = list(parsed.scores) if "Opus" in parsed.classes else [parsed]
            random.Random(1).shuffle(found)
            for number, score in enumerate(found[:TUNES_A_BOOK]):
                yield score_row(f"{Path(path).stem}#{number}", composer, score)
        except (converter.ConverterException, ValueError, AttributeError, IndexError) as error:
            print(path, repr(error)[:80], flush=True)


def main(folder: Path, corrected: Path, out: Path) -> None:
    warnings.simplefilter("ignore")
    held = set(held_out(names(corrected))[1])
    rows = [pop_row(folder, corrected, name, name in held) for name in names(corrected)]
    rows += score_rows()
    kept = [row for row in rows if row is not None]
    with lzma.open(out, "wb", preset=2) as file:
        pickle.dump(kept, file)
    print(f"{len(kept)} pieces, {sum(row['held'] for row in kept)} held out")


if __name__ == "__main__":
    main(*(Path(given) for given in sys.argv[1:4]))
