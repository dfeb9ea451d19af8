"""A piano piece as played by hand: the notes ignore the file's own beat.

The performance is modelled with a seeded generator: 74 beats a minute that swell by three percent,
12 ms of jitter, loudness that varies. The file itself claims 120 beats a minute throughout.
"""

from __future__ import annotations

import random
from fractions import Fraction
from math import cos, pi
from typing import TYPE_CHECKING

import mido
from notation import TICKS_PER_BEAT, in_deltas

from arranger.pitch import parse_pitch

if TYPE_CHECKING:
    from pathlib import Path

RIGHT = """
    E5:2 D5:1 C5:1 | G5:3 E5:1 | F5:1 E5:1 D5:1 C5:1 | D5:4 |
    E5:2 D5:1 C5:1 | A5:3 G5:1 | F5:1 E5:1 C5:1 D5:1 | C5:4
"""
"""The tune; lengths in eighths."""

LEFT = (
    ("C3", "G3", "E4"), ("E3", "B3", "G4"), ("F3", "C4", "A4"), ("G3", "D4", "B4"),
    ("C3", "G3", "E4"), ("F3", "C4", "A4"), ("G3", "D4", "B4"), ("C3", "G3", "E4"),
)  # fmt: skip
"""Each bar's chord, broken upward and back in eighths."""

TURNS = 4
TICKS_PER_SECOND = TICKS_PER_BEAT * 2


def write_performance(folder: Path) -> Path:
    """Write the piece as a format 0 file and return its path."""
    hand = random.Random(1907)  # noqa: S311 - a reproducible performance, not a secret
    score = _score()
    whole = 2 * len(LEFT)
    events: list[tuple[int, mido.Message | mido.MetaMessage]] = [
        (0, mido.MetaMessage("track_name", name="Tide Clock"))
    ]
    for turn in range(TURNS):
        for onset, length, pitch, velocity in score:
            start = _played_seconds(onset + turn * whole) + hand.gauss(0, 0.012)
            stop = _played_seconds(onset + length * Fraction(9, 10) + turn * whole)
            loud = velocity + hand.randrange(-8, 9)
            on = mido.Message("note_on", note=pitch, velocity=loud)
            events.append((max(round(start * TICKS_PER_SECOND), 0), on))
            events.append((round(stop * TICKS_PER_SECOND), mido.Message("note_off", note=pitch)))
    midi = mido.MidiFile(type=0, ticks_per_beat=TICKS_PER_BEAT)
    midi.tracks.append(in_deltas(events))
    path = folder / "tide_clock.mid"
    midi.save(path)
    return path


def _score() -> list[tuple[Fraction, Fraction, int, int]]:
    """Return onset and length in beats, pitch and velocity of each note, in order."""
    notes = []
    onset = Fraction(0)
    for word in RIGHT.replace("|", " ").split():
        name, length = word.split(":")
        notes.append((onset, Fraction(int(length), 2), parse_pitch(name), 88))
        onset += Fraction(int(length), 2)
    for bar, (root, fifth, third) in enumerate(LEFT):
        for eighth, name in enumerate((root, fifth, third, fifth)):
            start = Fraction(4 * bar + eighth, 2)
            notes.append((start, Fraction(1, 2), parse_pitch(name), 62))
    return sorted(notes)


def _played_seconds(beat: Fraction) -> float:
    swell = 0.03 * 16 / (2 * pi) * (1 - cos(2 * pi * float(beat) / 16))
    return 0.4 + 60.0 / 74.0 * (float(beat) + swell)
