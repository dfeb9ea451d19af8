"""What was probably meant by a cell that stands for nothing: "did you mean B3?".

Habits that are known: German note names (H, Cis, Es) and octave strokes (c'), the syllables do, re,
mi, an octave that is missing, doubled or out of reach, the sign or octave on the wrong side, signs of
holds and silence as others type them, what editors make of dots and hyphens, drums in a voice's row
and the other way round.
"""

from __future__ import annotations

import re
from contextlib import suppress
from typing import TYPE_CHECKING

from arranger.pitch import parse_pitch, pitch_name

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

WRITE_TONE = "write one from C-1 to G9 like C4, F#3 or Bb2, - to hold, . for silence"
WRITE_HIT = "write a name like kick, or ."

_LETTERS = {
    "do": "C", "ut": "C", "re": "D", "ré": "D", "mi": "E", "fa": "F", "sol": "G", "so": "G",
    "la": "A", "si": "B", "ti": "B", "h": "B",
    **{letter.lower(): letter for letter in "ABCDEFG"},
}  # fmt: skip
_SIGNS = {
    "##": "##", "#": "#", "bb": "bb", "b": "b", "x": "##", "sharp": "#", "flat": "b",
    "isis": "##", "is": "#", "eses": "bb", "ses": "bb", "es": "b", "s": "b",
}  # fmt: skip
_NAME = rf"(?P<name>{'|'.join(sorted(_LETTERS, key=len, reverse=True))})"
_SIGN = rf"(?P<sign>{'|'.join(sorted(_SIGNS, key=len, reverse=True))})"
_OCTAVE = r"(?P<octave>-?\d{1,3}|'{1,4}|,{1,3})"
_ORDERS = [
    re.compile(order, re.ASCII)
    for order in (
        rf"{_NAME}{_SIGN}?{_OCTAVE}?",
        rf"{_NAME}{_OCTAVE}{_SIGN}",
        rf"{_OCTAVE}{_NAME}{_SIGN}?",
        rf"{_SIGN}{_NAME}{_OCTAVE}?",
        rf"{_SIGN}{_OCTAVE}?{_NAME}",
    )
]
_PLAIN = str.maketrans(
    {
        **dict(zip("\u266f\u266d\U0001d12a\U0001d12b", ("#", "b", "##", "bb"), strict=True)),
        **dict.fromkeys("\u2019\u00b4`", "'"),
        **dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212", "-"),
    }
)
"""Signs of music, quotes and dashes as editors put them."""
_AROUND = "()[]{}<>\"';:,!?*_~=+/\\"
_HOLDS = frozenset("_~=>\u2010\u2011\u2012\u2013\u2014\u2212")
_SILENCES = frozenset("0orRxX*,/zZpP'\u00b7\u2022")
_ELLIPSIS = "\u2026"

DRUMS = (
    "kick", "snare", "rim", "clap", "tom-low", "tom-high", "hat", "hat-open", "crash", "ride",
    "block", "triangle", "kick-snare", "kick-hat", "kick-hat-open", "kick-ride", "kick-crash",
    "snare-hat", "snare-hat-open", "snare-ride", "snare-crash", "ride-hat", "gap",
)  # fmt: skip
"""Drum sounds of the built-in engines."""

# Short forms of drum rows. Common practice, no source.
_DRUM_WORDS = {
    "bd": "kick", "bassdrum": "kick", "bass": "kick", "k": "kick", "sd": "snare", "sn": "snare",
    "s": "snare", "hh": "hat", "h": "hat", "ch": "hat", "hihat": "hat", "hi-hat": "hat",
    "oh": "hat-open", "openhat": "hat-open", "open-hat": "hat-open", "cc": "crash",
    "cymbal": "crash", "cp": "clap", "rs": "rim", "rimshot": "rim", "tom": "tom-low",
    "lt": "tom-low", "ht": "tom-high", "rd": "ride",
}  # fmt: skip
_WORDS = {"rest": ".", "pause": ".", "off": ".", "hold": "-", "held": "-", "tie": "-"}
_ANY_HITS = frozenset("xo1*")


def meant_tone(text: str, near: int) -> str | None:
    """Return the cells of a voice that were probably meant, or None.

    Parameters
    ----------
    text
        What stands there.
    near
        A pitch of the row nearby, from which a missing octave is taken.

    >>> [meant_tone(text, 60) for text in ("H3", "Cis", "c4#", "4C", "sol#5", "_", "C44")]
    ['B3', 'C#4', 'C#4', 'C4', 'G#5', '-', 'C4']
    """
    if all(sign in _HOLDS or sign in "-." or sign == _ELLIPSIS for sign in text):
        return _signs(text, _HOLDS, "-")
    if text.lower() in _WORDS:
        return _WORDS[text.lower()]
    plain = text.translate(_PLAIN)
    bare = re.sub(f"[{re.escape(_AROUND)}]", "", plain)
    found = _meant_pitch(plain, near) or _meant_pitch(bare, near)
    if found is None and (parts := re.split(r"([-.]+)", plain)) != [plain]:
        cells = [
            part if not part.strip("-.") or _is_pitch(part) else _meant_pitch(part, near)
            for part in parts
        ]
        found = "".join(cell for cell in cells if cell) if None not in cells else None
    if found is None and all(sign in _SILENCES for sign in text):
        return "." * len(text)
    if found is None and text.isdecimal() and len(text) > 1 and int(text) < 128:
        return pitch_name(int(text))
    return found


def tone_remedy(text: str, near: int) -> str:
    """Return what to do about a word in a voice's row that is no cell."""
    chord = re.split(r"[/+&,]", text)
    if len(chord) > 1 and all(map(_is_pitch, chord)):
        return f"a voice plays one tone at a time: did you mean {chord[0]!r}?"
    meant = meant_tone(text, near)
    if meant is not None:
        return f"did you mean {meant!r}?"
    drum = _drum_word(text.lower(), DRUMS)
    if drum == text.lower():
        return "it is a drum sound: write it in the row drums"
    if drum is not None:
        return f"did you mean {drum!r}? Write it in the row drums"
    return WRITE_TONE


def hit_remedy(text: str) -> str:
    """Return what to do about a word in the drum row that can't be the name of a sound."""
    if all(sign in _HOLDS or sign in _SILENCES or sign in "-." + _ELLIPSIS for sign in text):
        return f"did you mean {_signs(text, _HOLDS | _SILENCES | {'-'}, '.')!r}?"
    if set(text) <= _ANY_HITS:
        return f"did you mean {DRUMS[0]!r}?"
    if _is_pitch(text.translate(_PLAIN)):
        return f"{text} is a pitch: did you mean it for a voice? Here {WRITE_HIT}"
    drum = _drum_word(re.sub(r"[+&/_]", "-", text.lower()).strip("-"), DRUMS)
    return f"did you mean {drum!r}?" if drum else WRITE_HIT


def drum_remedy(name: str, names: Collection[str], usual: str | None) -> str:
    """Return what to do about a drum sound that isn't there.

    ``name``: what stands there.
    ``names``: the sounds that there are.
    ``usual``: the sound that the row has most often, if it has any.
    """
    choose = f"choose from {', '.join(names) or '.'}"
    if _is_pitch(name):
        return f"{name.upper()} is a pitch: did you mean it for a voice? Else {choose}"
    if set(name) <= _ANY_HITS and (usual or names):
        return f"did you mean {usual or next(iter(names))!r}?"
    drum = _drum_word(name, names)
    return f"did you mean {drum!r}?" if drum else choose


def _drum_word(word: str, names: Iterable[str]) -> str | None:
    """Return the drum sound of those names that a word was probably meant for."""
    from difflib import get_close_matches

    names = list(names)
    for spelled in (word, _DRUM_WORDS.get(word, "")):
        if spelled in names:
            return spelled
    parts = sorted(_DRUM_WORDS.get(part, part) for part in word.split("-"))
    same = [name for name in names if sorted(name.split("-")) == parts]
    return next(iter(same or get_close_matches(word, names, 1)), None)


def _signs(text: str, others: Collection[str], sign: str) -> str:
    return "".join("..." if c == _ELLIPSIS else sign if c in others else c for c in text)


def _meant_pitch(text: str, near: int) -> str | None:
    for order in _ORDERS:
        match = order.fullmatch(text.lower())
        if match is not None:
            name = _LETTERS[match["name"]] + _SIGNS.get(match["sign"] or "", "")
            capital = text.lstrip("#'-0123456789")[:1].isupper()
            for octave in _octaves(match["octave"], capital=capital):
                if _is_pitch(name + octave):
                    return name + octave
            return _nearest(name, near)
    return None


def _octaves(text: str | None, *, capital: bool) -> list[str]:
    """Return octaves that may be meant, the likeliest first; none where none is said."""
    if not text:
        return []
    if text[0] == "'":  # c' is middle C, C the octave below the small letters
        return [str(len(text) + (2 if capital else 3))]
    if text[0] == ",":
        return [str((2 if capital else 3) - len(text))]
    if text == "-1":
        return ["-1", "0"]
    number = abs(int(text))
    once = [text[0]] if len(set(text)) == 1 else []
    return [*once, str(number), *map(str, range(min(number, 9), -2, -1)), "0"]


def _nearest(name: str, near: int) -> str:
    octaves = [name + str(octave) for octave in range(-1, 10) if _is_pitch(f"{name}{octave}")]
    return min(octaves, key=lambda pitch: abs(parse_pitch(pitch) - near))


def _is_pitch(text: str) -> bool:
    with suppress(ValueError):
        return bool(parse_pitch(text) + 1)
    return False
