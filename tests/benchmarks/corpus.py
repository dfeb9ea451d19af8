"""Chorales and quartets of the corpus that music21 ships, as MIDI files with one part a track.

    python -m tests.benchmarks.corpus {chorales,quartets} FOLDER [--most N] [--every N]

Notes are written as they stand in the score: ties joined, repeats not played twice, ornaments as
their main note (music21's own writer plays trills out and leaves some of their notes hanging).
"""

from __future__ import annotations

import argparse
import sys
import warnings
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import mido

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

TICKS = 480

Line = list[tuple[Fraction, Fraction, int]]
"""Onset and length in beats, pitch."""


def lines_of(score: Any) -> list[tuple[str, Line]]:
    """Return name and notes of every part of a music21 score."""
    found = []
    for part in score.parts:
        line: Line = []
        for element in part.stripTies().flatten().notes:
            length = Fraction(element.duration.quarterLength)
            if length > 0:
                onset = Fraction(element.offset)
                line.extend((onset, length, int(pitch.midi)) for pitch in element.pitches)
        found.append((str(part.partName or part.id), sorted(line)))
    return found


def midi_of(score: Any) -> mido.MidiFile:
    """Return a format 1 file with a track for the metre and one a part."""
    midi = mido.MidiFile(type=1, ticks_per_beat=TICKS)
    first = midi.add_track()
    for signature in score.parts[0].recurse().getElementsByClass("TimeSignature")[:1]:
        first.append(
            mido.MetaMessage(
                "time_signature",
                numerator=signature.numerator,
                denominator=signature.denominator,
            )
        )
    for channel, (name, line) in enumerate(lines_of(score)):
        track = midi.add_track()
        track.append(mido.MetaMessage("track_name", name=name))
        events = []
        for onset, length, pitch in line:
            start, end = round(onset * TICKS), round((onset + length) * TICKS)
            events.append((start, 1, pitch))
            events.append((end, 0, pitch))
        now = 0
        for tick, on, pitch in sorted(events):
            kind = "note_on" if on else "note_off"
            track.append(mido.Message(kind, note=pitch, channel=channel, time=tick - now))
            now = tick
    return midi


def paths(kind: str) -> list[Path]:
    from music21 import corpus

    if kind == "chorales":
        return [p for p in corpus.getComposer("bach") if "bwv" in p.stem and p.suffix == ".mxl"]
    return [p for name in ("haydn", "mozart", "beethoven") for p in corpus.getComposer(name)]


def four_part_scores(
    kind: str, every: int, without: Collection[str] = ()
) -> Iterator[tuple[str, Any]]:
    """Yield name and score of one file in so many, but for those of some stems."""
    from music21 import converter, corpus

    for path in paths(kind)[::every]:
        if path.stem in without:
            continue
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                score = corpus.parse(path)
            except converter.ConverterException:
                continue
        if len(getattr(score, "parts", ())) == 4:
            yield f"{path.parent.name}_{path.stem}", score


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("kind", choices=("chorales", "quartets"))
    parser.add_argument("folder", type=Path)
    parser.add_argument("--most", type=int, default=60)
    parser.add_argument("--every", type=int, default=6)
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    written = 0
    for name, score in four_part_scores(given.kind, given.every):
        midi_of(score).save(given.folder / f"{given.kind}_{name}.mid")
        written += 1
        if written == given.most:
            break
    sys.stdout.write(f"{written} files\n")


if __name__ == "__main__":
    main()
