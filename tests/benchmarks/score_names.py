"""Keys and names of tones, beside music21's chorales and songs whose key is known.

    python -m tests.benchmarks.score_names [FOLDER]

Of every third chorale of music21's corpus the outer voices are spelled in the key found from them, and
compared with the edition: all tones, and those outside of the key. Of the MIDI files of the folder
that name one key throughout, the key is found from their notes (pedals left out).
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import music21

from arranger.sheet.score.key import find_key
from arranger.sheet.score.spelling import tone_names
from arranger.song import read_song

if TYPE_CHECKING:
    from music21.note import Note

TICKS = 12
"""Of a quarter note."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?")
    asked = parser.parse_args()
    chorales = [each for each in music21.corpus.getComposer("bach") if "bwv" in str(each)]
    counts: Counter[str] = Counter()
    for path in chorales[::3]:
        _spell(music21.corpus.parse(path), counts)
    for name in ("tones", "outside"):
        print(f"{name}: {counts[f'{name} right']} of {counts[name]}")
    if asked.folder:
        _find_keys(asked.folder)


def _spell(score: music21.stream.Score, counts: Counter[str]) -> None:
    lines = [_line(part) for part in (score.parts[0], score.parts[-1])]
    spans = [
        [
            (
                int(note.offset * TICKS),
                int((note.offset + note.quarterLength) * TICKS),
                note.pitch.midi,
            )
            for note in line
        ]
        for line in lines
    ]
    lengths = [0.0] * 12
    for start, end, pitch in (span for line in spans for span in line):
        lengths[pitch % 12] += end - start
    key = find_key(lengths)
    for line, own, other in zip(lines, spans, spans[::-1], strict=True):
        for note, name in zip(
            line, tone_names(own, other, lambda _, key=key: key, 2 * TICKS), strict=True
        ):
            right = (name.letter, name.alter) == (note.pitch.step, int(note.pitch.alter))
            for kind in ("tones", *([] if key.has(note.pitch.midi) else ["outside"])):
                counts[kind] += 1
                counts[f"{kind} right"] += right


def _line(part: music21.stream.Part) -> list[Note]:
    return [
        n for n in part.flatten().notes if n.isNote and (n.tie is None or n.tie.type == "start")
    ]


def _find_keys(folder: Path) -> None:
    songs = signatures = keys = 0
    for path in sorted(folder.glob("*.mid")):
        song = read_song(path)
        if len(song.keys) != 1:
            continue
        said = song.keys[0]
        lengths = [0.0] * 12
        for note in song.notes:
            if not note.drum:
                lengths[note.pitch % 12] += note.duration - note.rings
        found = find_key(lengths)
        songs += 1
        signatures += (found.sharps - said.sharps) % 12 == 0
        keys += (found.sharps - said.sharps) % 12 == 0 and found.minor == said.minor
    print(f"songs: {songs}, signature found: {signatures}, key found: {keys}")


if __name__ == "__main__":
    main()
