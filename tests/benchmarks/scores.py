"""Scores of the corpus that music21 ships, as songs without loudness or names that give it away.

The tune is taken to be the first part: soprano, first violin, canto, cantus. That is how these
genres are written, though other parts take the lead for a while in quartets and madrigals. A music21
score takes a second to read, so they come one by one.
"""

from __future__ import annotations

import random
import warnings
from typing import TYPE_CHECKING, Any

from tests.reduce.little_songs import Line, song_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from arranger.song.model import Song

KINDS = {"chorale": 6, "quartet": 1, "madrigal": 2, "cantus": 3}
"""Kinds of scores, and of how many each is taken."""

BEAT_SCORES, BEAT_SEED = 120, 1
"""Which scores `sampled` gives to `train_beat`."""


def paths(kind: str) -> list[Path]:
    """Return the files of a kind, in a fixed order; the first file of a piece that has several."""
    from music21 import corpus

    composers = {
        "chorale": ("bach",),
        "quartet": ("haydn", "mozart"),
        "madrigal": ("monteverdi",),
        "cantus": ("trecento",),
    }[kind]
    found = [path for name in composers for path in corpus.getComposer(name)]
    suffixes = {".mxl", ".xml", ".krn"}
    return sorted(
        {path.stem + str(path.parent): path for path in found if path.suffix in suffixes}.values()
    )


def taken(kind: str, *, odd: bool) -> list[Path]:
    """Return the files of a kind with odd or even place in the list of those taken."""
    return paths(kind)[:: KINDS[kind]][int(odd) :: 2]


def sampled(count: int, seed: int) -> list[str]:
    """Return files of music21's corpus, half of them chorales, in a seeded order."""
    from music21 import corpus

    rng = random.Random(seed)
    paths = sorted(str(p) for p in corpus.getCorePaths(fileExtensions=(".mxl", ".xml", ".krn")))
    chorales = [path for path in paths if "/bach/" in path]
    others = [path for path in paths if "/bach/" not in path and "demos" not in path]
    return rng.sample(chorales, count // 2) + rng.sample(others, count - count // 2)


def songs(kind: str, *, odd: bool) -> Iterator[Song]:
    """Yield the songs of the files `taken`; the tune model is trained on the even ones."""
    from music21 import converter, corpus

    for path in taken(kind, odd=odd):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                score = corpus.parse(path)
            except converter.ConverterException:
                continue
            lines = lines_of(score)
        if len(lines) >= 2 and all(line.notes for line in lines):
            yield song_of(*lines)


def lines_of(score: Any) -> list[Line]:
    """Return the parts of a music21 score, ties joined, repeats once."""
    found = []
    for part in getattr(score, "parts", ()):
        notes = sorted(
            (float(element.offset), float(element.duration.quarterLength), int(pitch.midi))
            for element in part.stripTies().flatten().notes
            if element.duration.quarterLength > 0
            for pitch in element.pitches
        )
        found.append(Line(notes, velocity=80))
    return found
