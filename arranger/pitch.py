"""Pitch names and equal temperament.

Pitches are MIDI note numbers (60 = C4, middle C). Names are scientific: letter, optional accidental,
octave number that changes at C. Sharps are written; flats are read too.

Source of the tuning: ISO 16:1975, A4 = 440 Hz; equal temperament, f = 440 * 2 ** ((n - 69) / 12).
"""

from __future__ import annotations

import re
from math import log2

A4_HZ = 440.0
A4_MIDI = 69

_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTALS = {"": 0, "#": 1, "b": -1, "##": 2, "bb": -2}
_NAME = re.compile(r"([A-Ga-g])(##?|bb?)?(-?\d+)")


def pitch_name(pitch: int) -> str:
    """Return the scientific name of a MIDI note number, with sharps.

    >>> pitch_name(60), pitch_name(70), pitch_name(0)
    ('C4', 'A#4', 'C-1')
    """
    return f"{_SHARP_NAMES[pitch % 12]}{pitch // 12 - 1}"


def parse_pitch(name: str) -> int:
    """Return the MIDI note number that a scientific pitch name stands for.

    Raises
    ------
    ValueError
        If the text is no pitch name, or the pitch is outside 0..127.

    >>> parse_pitch("Bb3"), parse_pitch("A#3"), parse_pitch("Cb4")
    (58, 58, 59)
    """
    match = _NAME.fullmatch(name)
    if match is None:
        message = f"{name!r} is no pitch name (like C4, F#3 or Bb2)"
        raise ValueError(message)
    letter, accidental, octave = match.groups()
    pitch = (int(octave) + 1) * 12 + _LETTERS[letter.upper()] + _ACCIDENTALS[accidental or ""]
    if not 0 <= pitch <= 127:
        message = f"{name!r} is outside the MIDI range C-1 to G9"
        raise ValueError(message)
    return pitch


def equal_temperament_hz(pitch: float) -> float:
    """Return the frequency in Hz of a MIDI note number in equal temperament."""
    return float(A4_HZ * 2.0 ** ((pitch - A4_MIDI) / 12.0))


def cents_between(frequency_hz: float, reference_hz: float) -> float:
    """Return how far a frequency lies above a reference, in cents (1200 to the octave)."""
    return 1200.0 * log2(frequency_hz / reference_hz)
