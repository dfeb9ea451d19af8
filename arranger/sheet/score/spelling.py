"""How tones are spelled in a key, and which accidentals have to be shown.

Names are places on the line of fifths: F -1, C 0, G 1, ... B 5, F sharp 6, B flat -2. The tones of a
key have the names of its signature. Any other tone has two names to choose from, twelve fifths apart,
and takes the one that is nearer to the tones of the key around it in both voices (near on the line of
fifths is what belongs together; after E. Chew and Y.-C. Chen, "Real-time pitch spelling using the
spiral array", Computer Music Journal 29, 2005, which has the line wound up). A tone that a semitone
follows is the likelier to stand on another letter than that one: it leads up from the letter below,
or down from the one above. Double accidentals are written only for the leading tone of a minor key.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from arranger.sheet.score.key import Key

_LETTERS = "FCGDAEB"
_LOWEST, _HIGHEST = -8, 12
"""F flat to B sharp: the names without double accidentals."""
_LEADS = 4
"""How many fifths farther a name may be for leading to the next tone."""


class Name(NamedTuple):
    """A tone as it is written."""

    letter: str
    alter: int
    """Semitones up (sharps) or down (flats)."""
    octave: int
    """Of the letter: 4 from middle C on."""


Span = tuple[int, int, int]
"""First step, end step and pitch of a tone."""


def tone_names(
    line: Sequence[Span], other: Sequence[Span], key_at: Callable[[int], Key], reach: int
) -> list[Name]:
    """Return the names of the tones of a line, one after the other.

    ``line``: a voice.
    ``other``: the other voice.
    ``key_at``: the key on a step.
    ``reach``: how many steps before and after a tone others are around it.
    """
    known = sorted(
        (start, _in_key(pitch, key_at(start)))
        for start, _, pitch in (*line, *other)
        if key_at(start).has(pitch)
    )
    starts = [start for start, _ in known]
    names: list[Name] = []
    for index, (start, end, pitch) in enumerate(line):
        key = key_at(start)
        fifths = _in_key(pitch, key)
        if not key.has(pitch):
            if index and line[index - 1][2] == pitch and key_at(line[index - 1][0]) == key:
                names.append(names[-1])
                continue
            near = slice(bisect_left(starts, start - reach), bisect_right(starts, end + reach))
            follows = next((each for *_, each in line[index:] if each != pitch), pitch)
            around = [name for _, name in known[near]]
            fifths = _outside(fifths, around, pitch, follows, key)
        names.append(_name(pitch, fifths))
    return names


def _in_key(pitch: int, key: Key) -> int:
    """Return the name of a tone that is on the signature's side of the line of fifths."""
    lowest = key.sharps - 4
    return lowest + (7 * pitch - lowest) % 12


def _outside(fifths: int, around: list[int], pitch: int, follows: int, key: Key) -> int:
    """Return the name of a tone outside of the key.

    ``fifths``: one of its names.
    ``around``: those of the tones around it.
    ``pitch``, ``follows``: the tone, and the one after it in its line.
    """
    leading = key.tonic_fifths + 5
    names = [
        name
        for name in (fifths - 12, fifths, fifths + 12)
        if _LOWEST <= name <= _HIGHEST or (key.minor and name == leading)
    ]
    home = [*around, key.tonic_fifths, key.tonic_fifths + 1]

    def cost(name: int) -> float:
        away = sum(abs(name - each) for each in home) / len(home)
        # Seven fifths make a semitone on one letter, five one between two letters.
        wanted = _in_key(follows, key) + 5 * (follows - pitch)
        return away + _LEADS * (abs(follows - pitch) == 1 and name != wanted)

    return min(names, key=cost)


def _name(pitch: int, fifths: int) -> Name:
    letter = _LETTERS[(fifths + 1) % 7]
    alter = (fifths + 1) // 7
    return Name(letter, alter, (pitch - alter) // 12 - 1)


class Accidentals:
    """What has been said in a bar about each line and space of a staff, by the signature at first."""

    def __init__(self, sharps: int) -> None:
        self._key = {
            letter: int(sharps > place) - int(-sharps > 6 - place)
            for place, letter in enumerate(_LETTERS)
        }
        self._said: dict[tuple[str, int], int] = {}

    def needed(self, name: Name, *, tied: bool) -> bool:
        """Return whether a tone needs an accidental; one that is tied over needs none."""
        place = (name.letter, name.octave)
        said = self._said.get(place, self._key[name.letter])
        if not tied:
            self._said[place] = name.alter
        return said != name.alter and not tied
