"""How drum sounds are written: place on the staff, notehead, and what a program plays for them.

Places and noteheads are those of common drum set notation (common practice; after N. Weinberg,
"Guide to Standardized Drumset Notation", Percussive Arts Society, 1998, from memory), on five lines as
in the treble clef. Noteheads are called as in MusicXML 4.0 (``notehead-value``).

There are two voices: cymbals with stems up, drums with stems down. So sounds that are struck at once
are seldom chords, which one of the common readers (partitura 1.9) fails on where they have no pitch.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Mapping

    from arranger.engine.model import DrumSound


class Stroke(NamedTuple):
    """A drum on its staff."""

    name: str
    """The sound's."""
    letter: str
    octave: int
    head: str
    key: int | None
    """The General MIDI percussion key that sounds most like it; None: it is written for none."""


_PLACES = {
    36: ("F", 4, "normal"), 35: ("F", 4, "normal"),
    38: ("C", 5, "normal"), 40: ("C", 5, "normal"), 37: ("C", 5, "x"), 39: ("D", 5, "x"),
    41: ("A", 4, "normal"), 43: ("A", 4, "normal"), 45: ("B", 4, "normal"),
    48: ("E", 5, "normal"), 47: ("D", 5, "normal"), 50: ("E", 5, "normal"),
    42: ("G", 5, "x"), 46: ("G", 5, "circle-x"), 44: ("D", 4, "x"),
    49: ("A", 5, "x"), 57: ("A", 5, "x"), 52: ("B", 5, "x"), 55: ("B", 5, "x"),
    51: ("F", 5, "x"), 59: ("F", 5, "x"), 53: ("F", 5, "diamond"),
    76: ("E", 5, "diamond"), 77: ("D", 5, "diamond"), 56: ("E", 5, "diamond"),
    81: ("C", 6, "diamond"), 80: ("C", 6, "diamond"), 54: ("B", 4, "x"),
}  # fmt: skip
"""By General MIDI percussion key; of several keys that a sound stands in for the first here."""
_ANY_PLACE = ("B", 4, "diamond")
_CLOSED_HAT, _PEDAL_HAT = 42, 44
_UPPER = 37
"""E5: from here on strokes are in the upper voice."""

Strokes = tuple[Stroke, ...]
"""From below."""


def strokes_of(name: str, sounds: Mapping[str, DrumSound]) -> tuple[Strokes, Strokes]:
    """Return what is struck at once where a sound stands, in the upper and in the lower voice.

    Nothing for a silence. A closed hi-hat under another cymbal is played with the foot; else of what
    is all in one voice the highest or the lowest goes to the other.

    ``name``: the sound's.
    ``sounds``: all of the sheet, by name.
    """
    sound = sounds[name]
    if all(part.kind == "rest" for part in sound.parts):
        return (), ()
    joined = bool(sound.joins) and all(each in sounds for each in sound.joins)
    found = {_stroke(sounds[each]) for each in (sound.joins if joined else [name])}
    if len(found) > 1 and all(_height(each) >= _UPPER for each in found):
        found = {_with_the_foot(each) for each in found}
    strokes = tuple(sorted(found, key=lambda each: (_height(each), each.name)))
    lower = sum(_height(stroke) < _UPPER for stroke in strokes)
    if len(strokes) > 1:
        lower = min(max(lower, 1), len(strokes) - 1)
    return strokes[lower:], strokes[:lower]


def _height(stroke: Stroke) -> int:
    """Return the line or space of a stroke, in letters above C0."""
    return stroke.octave * 7 + "CDEFGAB".index(stroke.letter)


def _with_the_foot(stroke: Stroke) -> Stroke:
    if stroke.key != _CLOSED_HAT:
        return stroke
    return Stroke(stroke.name, *_PLACES[_PEDAL_HAT], stroke.key)


def _stroke(sound: DrumSound) -> Stroke:
    key = next((key for key in _PLACES if key in sound.percussion_keys), None)
    return Stroke(sound.name, *(_ANY_PLACE if key is None else _PLACES[key]), key)
