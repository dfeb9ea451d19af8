"""What the words of a sheet stand for: values of the header."""

from __future__ import annotations

import re
from fractions import Fraction

from arranger.errors import did_you_mean
from arranger.sheet.form.text import is_drum_name
from arranger.sheet.model import SheetSound, SoundPart

_STEP = re.compile(r"(\d{1,6})(?:\s*/\s*(\d{1,6}))?(?:\s+beats?)?", re.ASCII)
_TEMPO = re.compile(r"(\d{1,9}(?:\.\d{1,20})?(?:e[+-]?\d{1,3})?)(?:\s.*)?", re.ASCII)
_NUMBER = re.compile(r"\d{1,9}", re.ASCII)

_PART = re.compile(
    r"(?P<kind>[a-z]+)(?P<settings>(?:\s+\d{1,9}){0,4})"
    r"(?:\s+for\s+(?P<whole>\d{1,5})(?:\.(?P<more>\d{1,3}))?\s*ms)?",
    re.ASCII | re.IGNORECASE,
)
_THEN = re.compile(r"\s*(?:,|\s)\s*then\s+", re.IGNORECASE)

SOUND_KINDS = ("kick", "noise", "rest")
MOST_SOUNDS = 64
"""Of a sheet's own. MIDI has 128 percussion keys for these and the engine's."""
MOST_SOUND_PARTS = 4
LONGEST_SOUND_MS = 10_000
"""Of a part: as long as the longest step."""

WRITE_TEMPO = "write how fast it plays into the header, like tempo 120"
"""What to do where nothing says so."""

SLOWEST_BPM, FASTEST_BPM = 0.001, 100_000.0


class UnknownWord(Exception):  # noqa: N818 -- it never leaves the reader, which makes a problem of it
    """A word that stands for nothing."""

    def __init__(
        self, code: str, what: str, remedy: str, *, word: int = 0, at: int = 0, width: int = 0
    ) -> None:
        super().__init__(what)
        self.code = code
        self.what = what
        self.remedy = remedy
        self.word = word
        """Index of the word in its line."""
        self.at = at
        self.width = width
        """Which part of the word it concerns; a width of 0 means all of it."""


def read_step(text: str) -> Fraction:
    """Return the step as a share of a beat, of "1/4 beat"."""
    match = _STEP.fullmatch(text)
    if match is None or not int(match[1]) or not int(match[2] or 1):
        raise UnknownWord("step", f"{text[:40]!r} is no share of a beat", "write step 1/4 beat")
    return Fraction(int(match[1]), int(match[2] or 1))


def read_length(text: str) -> int:
    """Return the setting of the step length."""
    if not _NUMBER.fullmatch(text):
        raise UnknownWord(
            "length",
            f"{text[:40]!r} is no whole number",
            "write one of the engine's step lengths; arranger engines NAME lists them",
        )
    return int(text)


def read_tempo(text: str) -> float:
    """Return beats a minute, of "120.5 beats a minute"."""
    match = _TEMPO.fullmatch(text)
    if match is None or not SLOWEST_BPM <= float(match[1]) <= FASTEST_BPM:
        raise UnknownWord(
            "tempo", f"{text[:40]!r} is no tempo", "write beats a minute, like tempo 120"
        )
    return float(match[1])


def read_sound(text: str) -> SheetSound:
    """Return the drum sound of "clank: noise 354 for 20 ms, then kick 4956 1180 for 12.5 ms"."""
    name, colon, rest = text.partition(":")
    name = name.strip().lower()
    if not colon or not is_drum_name(name):
        what = f"{name[:40]!r} can't be the name of a drum sound" if colon else "has no colon"
        raise UnknownWord("drum-line", what, "write like: drum clank: noise 354 for 20 ms")
    parts = [_sound_part(part) for part in _THEN.split(rest.strip())]
    if len(parts) > MOST_SOUND_PARTS:
        what = f"{name} has {len(parts)} parts"
        raise UnknownWord("drum-line", what, f"a drum sound has {MOST_SOUND_PARTS} at most")
    if not all(part.microseconds for part in parts[:-1]):
        what = f"a part of {name} lasts to the end of the step, so what follows isn't heard"
        raise UnknownWord("drum-line", what, "say how long it sounds, like for 20 ms")
    return SheetSound(name, tuple(parts))


def _sound_part(text: str) -> SoundPart:
    """Return a part of a drum sound, of "noise 354 for 20 ms" or, to the step's end, "noise 354"."""
    match = _PART.fullmatch(text)
    if match is None or (match["kind"].lower() == "rest") == bool(match["settings"]):
        raise UnknownWord(
            "drum-part",
            f"{text[:40]!r} is no part of a drum sound",
            "write a kind, its settings and how long, like noise 354 for 20 ms",
        )
    kind = match["kind"].lower()
    if kind not in SOUND_KINDS:
        remedy = did_you_mean(kind, SOUND_KINDS, f"choose from {', '.join(SOUND_KINDS)}")
        raise UnknownWord(
            "drum-kind", f"there is no drum sound of the kind {match['kind'][:40]!r}", remedy
        )
    microseconds = int(match["whole"] or 0) * 1000 + int((match["more"] or "").ljust(3, "0"))
    if match["whole"] and not 0 < microseconds <= LONGEST_SOUND_MS * 1000:
        what = "a part of a drum sound can't last so long" if microseconds else "it lasts no time"
        raise UnknownWord("drum-length", what, f"write from 0.001 to {LONGEST_SOUND_MS:,} ms")
    return SoundPart(kind, tuple(map(int, match["settings"].split())), microseconds)
