"""The songs that the tune model is trained on, as one file of numbers.

    python -m tests.benchmarks.tune_samples FOLDER SAMPLES.npz

FOLDER holds POP909 (see `tests.benchmarks.pop909`); the songs whose number three divides are left
out. Scores of music21's corpus are added, but none that a test or another measurement looks at: those
that `tune_finding` and `lines` measure, and `KEPT`. The tune of a score is what is on top: the first
part, which `tune_finding` goes by, is crossed so often that nothing else could be learnt from it.
"""

from __future__ import annotations

import argparse
import random
import warnings
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from arranger.reduce.worth.note_table import note_table
from tests.benchmarks import corpus, pop909, scores
from tests.reduce.little_songs import song_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Sample = dict[str, NDArray[np.generic]]

KEPT = {
    "bwv66.6", "bwv269", "bwv40.8", "bwv1.6", "bwv349", "bwv57.8", "PMFC_06-Jacopo-03b-Di_Novo",
    "PMFC_06_Piero_2-Chavalcando", "PMFC_12_20-Agnus Dei Gherardello",
}  # fmt: skip
"""Scores that tests read, by the name of the file."""
MOST = {"chorale": 150, "quartet": 30, "madrigal": 35, "cantus": 60}


def pop_song(folder: Path, name: str) -> Sample:
    """Return a song in one part: onset, end, end with the pedal, pitch, loudness, whether tune."""
    plain = note_table(pop909.song(folder, name, "flat"))
    held = note_table(pop909.song(folder, name, "flat-pedal"))
    beats = np.loadtxt(folder / f"{name}.beats.txt")[:, 0]
    return {
        "onset": plain.onset, "end": plain.end, "held": held.end, "pitch": plain.pitch,
        "loudness": plain.loudness, "tune": pop909.is_tune(folder, name, "flat"), "beats": beats,
    }  # fmt: skip


def score_paths(kind: str) -> list[Path]:
    """Return the scores of a kind that nothing is measured on, at most so many, in a seeded order."""
    measured = set(scores.taken(kind, odd=True))
    for name, every in (("chorales", 6), ("quartets", 4), ("quartets", 6)):
        measured.update(corpus.paths(name)[::every])
    pieces = {path.with_suffix("") for path in measured}
    every_one = set(scores.paths(kind))
    if kind == "quartet":
        every_one.update(
            p for p in corpus.paths("quartets") if p.suffix in {".mxl", ".xml", ".krn"}
        )
    free = {p.with_suffix(""): p for p in sorted(every_one) if p.stem not in KEPT}
    found = [path for piece, path in free.items() if piece not in pieces]
    random.Random(1).shuffle(found)
    return found[: MOST[kind]]


def on_top(onset: Floats, end: Floats, pitch: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return for each note whether no higher one sounds when it starts."""
    found = [
        not ((onset <= at + 1e-3) & (end > at + 1e-3) & (pitch > height)).any()
        for at, height in zip(onset, pitch, strict=True)
    ]
    return np.array(found, dtype=np.bool_)


def score_samples(kind: str) -> Iterator[Sample]:
    """Yield the scores of a kind, the top as the tune."""
    from music21 import converter, corpus

    for path in score_paths(kind):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                lines = scores.lines_of(corpus.parse(path))
            except converter.ConverterException:
                continue
        if len(lines) >= 2 and all(line.notes for line in lines):
            table = note_table(song_of(*lines))
            yield {
                "onset": table.onset, "end": table.end, "held": table.end, "pitch": table.pitch,
                "loudness": table.loudness, "beats": np.zeros(0),
                "tune": on_top(table.onset, table.end, table.pitch),
            }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("output", type=Path)
    given = parser.parse_args()
    train, _ = pop909.held_out(pop909.names(given.folder))
    found = {f"pop:{name}": pop_song(given.folder, name) for name in train}
    for kind in MOST:
        found |= {f"{kind}:{k}": sample for k, sample in enumerate(score_samples(kind))}
    songs = list(found.values())
    joined = {key: np.concatenate([song[key] for song in songs]) for key in songs[0]}
    exact = {"pitch": np.int16, "tune": np.bool_}
    np.savez_compressed(
        given.output,
        name=np.array(list(found)),
        ends=np.cumsum([len(song["pitch"]) for song in songs]),
        beat_ends=np.cumsum([len(song["beats"]) for song in songs]),
        **{key: column.astype(exact.get(key, np.float32)) for key, column in joined.items()},
    )


if __name__ == "__main__":
    main()
