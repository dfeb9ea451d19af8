"""How tones are spelled in a key, and which accidentals have to be shown.

Names are places on the line of fifths: F -1, C 0, G 1, ... B 5, F sharp 6, B flat -2. In major and
minor alike the twelve tones are those from the flat second (five fifths below the tonic) to the
sharp fourth (six above). A tone outside of the key takes its other name where its line says so: it
leads a semitone up to the next tone from the letter below, and a semitone down from the one above.
Double accidentals are written only where the key itself has them (the seventh of G sharp minor).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.score.key import Key

_LETTERS = "FCGDAEB"
_LOWEST, _HIGHEST = -8, 12
"""F flat to B sharp: the names without double accidentals."""


class Name(NamedTuple):
    """A tone as it is written."""

    letter: str
    alter: int
    """Semitones up (sharps) or down (flats)."""
    octave: int
    """Of the letter: 4 from middle C on."""


def spell(pitches: Sequence[int], key: Key) -> list[Name]:
    """Return the names of the tones of a line, one after the other."""
    tonic = key.tonic_fifths
    names = []
    for index, pitch in enumerate(pitches):
        fifths = tonic - 5 + (7 * pitch - tonic + 5) % 12
        follows = pitches[index + 1] - pitch if index + 1 < len(pitches) else 0
        if not key.has(pitch) and abs(follows) == 1:
            fifths = _leading(fifths, pitch, follows, key)
        names.append(_name(pitch, fifths))
    return names


def _leading(fifths: int, pitch: int, follows: int, key: Key) -> int:
    """Return a name on another letter than that of the next tone, if there is a plain one."""
    after = key.tonic_fifths - 5 + (7 * (pitch + follows) - key.tonic_fifths + 5) % 12
    # Seven fifths make a semitone on one letter, five one between two letters.
    wanted = after + 5 if follows > 0 else after - 5
    return wanted if _LOWEST <= wanted <= _HIGHEST else fifths


def _name(pitch: int, fifths: int) -> Name:
    letter = _LETTERS[(fifths + 1) % 7]
    alter = (fifths + 1) // 7
    return Name(letter, alter, (pitch - alter) // 12 - 1)


class Accidentals:
    """What has been said in a bar about each line and space of a staff."""

    def __init__(self, sharps: int) -> None:
        self._key = {
            letter: int(sharps > place) - int(-sharps > 6 - place)
            for place, letter in enumerate(_LETTERS)
        }
        self._said: dict[tuple[str, int], int] = {}

    def new_bar(self) -> None:
        """Forget what was said in the bar before."""
        self._said = {}

    def needed(self, name: Name, *, tied: bool) -> bool:
        """Return whether a tone needs an accidental; one that is tied over needs none."""
        place = (name.letter, name.octave)
        said = self._said.get(place, self._key[name.letter])
        if not tied:
            self._said[place] = name.alter
        return said != name.alter and not tied
