"""What the words of a sheet stand for: values of the header, cells, bar lines."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import did_you_mean
from arranger.pitch import parse_pitch, pitch_name
from arranger.rows import HOLD, REST
from arranger.sheet.lexical import RUN
from arranger.sheet.model import SheetSound, SoundPart
from arranger.sheet.text import is_drum_name

if TYPE_CHECKING:
    from arranger.sheet.model import SheetBar

_STEP = re.compile(r"(\d{1,6})(?:\s*/\s*(\d{1,6}))?(?:\s+beats?)?", re.ASCII)
_TEMPO = re.compile(r"(\d{1,9}(?:\.\d{1,20})?(?:e[+-]?\d{1,3})?)(?:\s.*)?", re.ASCII)
_NUMBER = re.compile(r"\d{1,9}", re.ASCII)
_BAR_NUMBER = re.compile(r"-?\d{1,9}", re.ASCII)
_METRE = re.compile(r"(\d{1,4})/(\d{1,4})", re.ASCII)

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

MOST_FAULTS = 1000
"""More in one line aren't listed."""

_TONES = {"-": HOLD, ".": REST} | {pitch_name(pitch): pitch for pitch in range(12, 120)}


class Fault(Exception):  # noqa: N818 -- it never leaves the reader, which makes a problem of it
    """A word that stands for nothing."""

    def __init__(self, code: str, what: str, remedy: str, *, word: int = 0) -> None:
        super().__init__(what)
        self.code = code
        self.what = what
        self.remedy = remedy
        self.word = word
        """Index of the word in its line."""


class BarLine(NamedTuple):
    """What a bar line says."""

    number: int
    numerator: int
    denominator: int
    steps: int | None
    """None: as many as fill the metre."""
    loop: int | None
    """The step of the bar, from 1, to go back to."""


def read_step(text: str) -> Fraction:
    """Return the step as a share of a beat, of "1/4 beat"."""
    match = _STEP.fullmatch(text)
    if match is None or not int(match[1]) or not int(match[2] or 1):
        raise Fault("step", f"{text[:40]!r} is no share of a beat", "write step 1/4 beat")
    return Fraction(int(match[1]), int(match[2] or 1))


def read_length(text: str) -> int:
    """Return the setting of the step length."""
    if not _NUMBER.fullmatch(text):
        raise Fault(
            "length",
            f"{text[:40]!r} is no whole number",
            "write one of the engine's step lengths; arranger engines NAME lists them",
        )
    return int(text)


def read_tempo(text: str) -> float:
    """Return beats a minute, of "120.5 beats a minute"."""
    match = _TEMPO.fullmatch(text)
    if match is None or not SLOWEST_BPM <= float(match[1]) <= FASTEST_BPM:
        raise Fault("tempo", f"{text[:40]!r} is no tempo", "write beats a minute, or nothing")
    return float(match[1])


def read_sound(text: str) -> SheetSound:
    """Return the drum sound of "clank: noise 354 for 20 ms, then kick 4956 1180 for 12.5 ms"."""
    name, colon, rest = text.partition(":")
    name = name.strip().lower()
    if not colon or not is_drum_name(name):
        what = f"{name[:40]!r} can't be the name of a drum sound" if colon else "has no colon"
        raise Fault("drum-line", what, "write like: drum clank: noise 354 for 20 ms")
    parts = [_sound_part(part) for part in _THEN.split(rest.strip())]
    if len(parts) > MOST_SOUND_PARTS:
        what = f"{name} has {len(parts)} parts"
        raise Fault("drum-line", what, f"a drum sound has {MOST_SOUND_PARTS} at most")
    if not all(part.microseconds for part in parts[:-1]):
        what = f"a part of {name} lasts to the end of the step, so what follows isn't heard"
        raise Fault("drum-line", what, "say how long it sounds, like for 20 ms")
    return SheetSound(name, tuple(parts))


def _sound_part(text: str) -> SoundPart:
    """Return a part of a drum sound, of "noise 354 for 20 ms" or, to the step's end, "noise 354"."""
    match = _PART.fullmatch(text)
    if match is None or (match["kind"].lower() == "rest") == bool(match["settings"]):
        raise Fault(
            "drum-part",
            f"{text[:40]!r} is no part of a drum sound",
            "write a kind, its settings and how long, like noise 354 for 20 ms",
        )
    kind = match["kind"].lower()
    if kind not in SOUND_KINDS:
        remedy = did_you_mean(kind, SOUND_KINDS, f"choose from {', '.join(SOUND_KINDS)}")
        raise Fault(
            "drum-kind", f"there is no drum sound of the kind {match['kind'][:40]!r}", remedy
        )
    microseconds = int(match["whole"] or 0) * 1000 + int((match["more"] or "").ljust(3, "0"))
    if match["whole"] and not 0 < microseconds <= LONGEST_SOUND_MS * 1000:
        what = "a part of a drum sound can't last so long" if microseconds else "it lasts no time"
        raise Fault("drum-length", what, f"write from 0.001 to {LONGEST_SOUND_MS:,} ms")
    return SoundPart(kind, tuple(map(int, match["settings"].split())), microseconds)


def is_bar_number(word: str) -> bool:
    """Return whether a word is the number of a bar."""
    return _BAR_NUMBER.fullmatch(word) is not None


def read_bar_line(words: list[str], before: SheetBar | None) -> BarLine:
    """Return what a bar line says.

    Parameters
    ----------
    words
        The line's words, "bar" first.
    before
        The bar before, which lends its metre and number.
    """
    number, numerator, denominator = (
        (1, 4, 4) if before is None else (before.number + 1, before.numerator, before.denominator)
    )
    steps: int | None = None
    loop: int | None = None
    rest = words[1:]
    if rest and is_bar_number(rest[0]) and rest[1:2] not in (["steps"], ["step"]):
        number = int(rest.pop(0))
    if rest and (match := _METRE.fullmatch(rest[0])):
        numerator, denominator = int(match[1]), int(match[2])
        if not numerator or not denominator:
            at = len(words) - len(rest)
            raise Fault("metre", f"{match[0]} is no metre", "write one like 4/4 or 6/8", word=at)
        rest.pop(0)
    if len(rest) > 1 and _NUMBER.fullmatch(rest[0]) and rest[1].lower() in ("step", "steps"):
        steps = int(rest[0])
        del rest[:2]
    if rest and rest[0].lower() == "loop":
        rest.pop(0)
        loop = int(rest.pop(0)) if rest and _NUMBER.fullmatch(rest[0]) else 1
    if rest:
        raise Fault(
            "bar-line",
            f"the bar line has {' '.join(rest)[:40]!r} after what belongs there",
            "write like: bar 5   4/4   14 steps   loop",
            word=len(words) - len(rest),
        )
    return BarLine(number, numerator, denominator, steps, loop)


def read_tones(words: list[str], faults: list[Fault]) -> list[int]:
    """Return the cells of a voice; a word that is none is silence, and listed in ``faults``.

    Parameters
    ----------
    words
        The line's words, "voice" and its number first.
    faults
        Where faults are listed.
    """
    try:
        return [_TONES[word] for word in words[2:]]
    except KeyError:
        pass
    cells: list[int] = []
    for index, word in enumerate(words[2:], 2):
        if RUN.fullmatch(word):
            cells.extend(_TONES[sign] for sign in word)
            continue
        try:
            cells.append(parse_pitch(word))
        except ValueError:
            cells.append(REST)
            remedy = "write one from C-1 to G9 like C4, F#3 or Bb2, - to hold, . for silence"
            _list(Fault("unknown-pitch", f"{word[:40]!r} is no pitch", remedy, word=index), faults)
    return cells


def read_hits(
    words: list[str], known: dict[str, str | None], faults: list[Fault]
) -> list[str | None]:
    """Return the cells of the drum row; a word that is none is silence, and listed in ``faults``.

    Parameters
    ----------
    words
        The line's words, "drums" first.
    known
        Words that were read before, and what they stand for; new ones are added.
    faults
        Where faults are listed.
    """
    try:
        return [known[word] for word in words[1:]]
    except KeyError:
        pass
    cells: list[str | None] = []
    for index, word in enumerate(words[1:], 1):
        name = word.lower()
        if is_drum_name(name):
            cells.append(known.setdefault(word, name))
        elif set(word) == {"."}:
            cells.extend(None for _ in word)
        elif RUN.fullmatch(word):
            cells.extend(None for _ in word)
            what, remedy = "a drum can't be held", "write . after the drum"
            _list(Fault("drum-held", what, remedy, word=index), faults)
        else:
            cells.append(None)
            what, remedy = f"{word[:40]!r} is no drum sound", "write a name like kick, or ."
            _list(Fault("drum-name", what, remedy, word=index), faults)
    return cells


def _list(fault: Fault, faults: list[Fault]) -> None:
    if len(faults) < MOST_FAULTS:
        faults.append(fault)
