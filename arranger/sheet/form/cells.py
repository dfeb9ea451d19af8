"""What the words of a row stand for: cells, alone or typed together."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from arranger.pitch import parse_pitch, pitch_name
from arranger.rows import HOLD, REST
from arranger.sheet.form.header_values import UnknownWord
from arranger.sheet.form.lexical import WORD
from arranger.sheet.form.meant import hit_remedy, tone_remedy
from arranger.sheet.form.text import ROWS, is_drum_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.sheet.form.lexical import Span

MOST_FAULTS = 1000
"""More in one line aren't listed."""

DRUMS = ROWS.index("drums")

_SIGNS = {"-": HOLD, ".": REST}
_TONES = _SIGNS | {pitch_name(pitch): pitch for pitch in range(12, 120)}
_TONE = re.compile(r"[A-Ga-g](?:##?|bb?)?-?\d", re.ASCII)
_TONES_TOGETHER = re.compile(rf"(?:{_TONE.pattern})+", re.ASCII)
# A hyphen is a hold unless it stands between something else than a digit and something.
_SIGN_OR_TONES = re.compile(r"\.|(?<![^0-9.-])-|-(?![^.-])|(?:[^.-]|(?<=[^0-9.-])-(?=[^.-]))+")
_PART = re.compile(r"\.|[^.]+")
_USUAL = {"1": 65, "2": 45}
"""A pitch of each voice, where a row has none that a missing octave could be taken from."""

_Piece = tuple[int, int, int | None]
"""Where a cell stands in its word, how wide it is, and the cell; None: it stands for nothing."""


def read_tones(words: list[str], faults: list[UnknownWord]) -> list[int]:
    """Return the cells of a voice; what stands for none is silence, and listed in ``faults``.

    ``words``: the line's words, "voice" and its number first.
    ``faults``: where faults are listed.
    """
    try:
        return [_TONES[word] for word in words[2:]]
    except KeyError:
        pass
    cells: list[int] = []
    wrong: list[tuple[int, int, str, int | None]] = []
    before: int | None = None
    for index, word in enumerate(words[2:], 2):
        for at, width, cell in _tone_pieces(word):
            if cell is None and len(wrong) < MOST_FAULTS:
                wrong.append((index, at, word[at : at + width], before))
            elif cell is not None and cell >= 0:
                before = cell
            cells.append(REST if cell is None else cell)
    first = next((cell for cell in cells if cell >= 0), _USUAL[words[1]])
    for index, at, text, near in wrong:
        remedy = tone_remedy(text[:40], first if near is None else near)
        what = f"{text[:40]!r} is no pitch"
        faults.append(
            UnknownWord("unknown-pitch", what, remedy, word=index, at=at, width=len(text))
        )
    return cells


def _tone_pieces(word: str) -> Iterator[_Piece]:
    """Yield the cells of a word of a voice."""
    for match in _SIGN_OR_TONES.finditer(word):
        text, start = match[0], match.start()
        cell = _TONES.get(text)
        if cell is None and _TONES_TOGETHER.fullmatch(text):
            for tone in _TONE.finditer(text):
                yield start + tone.start(), len(tone[0]), _pitch(tone[0])
        else:
            yield start, len(text), _pitch(text) if cell is None else cell


def _pitch(text: str) -> int | None:
    try:
        return parse_pitch(text)
    except ValueError:
        return None


def read_hits(
    words: list[str], known: dict[str, str | None], faults: list[UnknownWord]
) -> list[str | None]:
    """Return the cells of the drum row; what stands for none is silence, listed in ``faults``.

    ``words``: the line's words, "drums" first.
    ``known``: words that were read before, and what they stand for; new ones are added.
    ``faults``: where faults are listed.
    """
    try:
        return [known[word] for word in words[1:]]
    except KeyError:
        pass
    cells: list[str | None] = []
    for index, word in enumerate(words[1:], 1):
        for at, width in _hit_parts(word):
            text = word[at : at + width]
            name = text.lower()
            if text == ".":
                cells.append(None)
            elif is_drum_name(name):
                cells.append(known.setdefault(text, name))
            else:
                cells.extend([None] * len(_hit_cells(text)))
                if len(faults) < MOST_FAULTS:
                    faults.append(_hit_fault(word, at, text, index))
    return cells


def _hit_parts(word: str) -> Iterator[tuple[int, int]]:
    """Yield where dots, names and the hyphens below them stand in a word of the drum row."""
    for match in _PART.finditer(word):
        name = len(match[0].rstrip("-"))
        if name:
            yield match.start(), name
        if name < len(match[0]):
            yield match.start() + name, len(match[0]) - name


def _hit_cells(text: str) -> range:
    """Return for what stands for no drum how many cells it is: of hyphens each is one."""
    return range(1 if text.strip("-") else len(text))


def _hit_fault(word: str, at: int, text: str, index: int) -> UnknownWord:
    if text.strip("-"):
        code, what, remedy = "drum-name", f"{text[:40]!r} is no drum sound", hit_remedy(text[:40])
    else:
        code, what = "drum-held", "a drum can't be held"
        name = word[:at].rpartition(".")[2]
        remedy = f"did you mean {name[:40] + '.' * min(len(text), 40)!r}?"
    return UnknownWord(code, what, remedy, word=index, at=at, width=len(text))


def cell_spans(code: str, row: int) -> list[Span]:
    """Return where each cell of a row (1..3) stands."""
    label = len(ROWS[row].split())
    found: list[Span] = []
    for index, match in enumerate(WORD.finditer(code)):
        word, start = match[0], match.start() + 1
        if index < label:
            continue
        if row != DRUMS:
            found.extend((start + at, width) for at, width, _ in _tone_pieces(word))
            continue
        for at, width in _hit_parts(word):
            cells = _hit_cells(word[at : at + width])
            each = width // len(cells)
            found.extend((start + at + cell * each, each) for cell in cells)
    return found
