"""The record of a generated sheet: the sheet itself, packed into a few lines of text.

JSON of the values, each different row of a bar once, then bz2, whose bytes are the same on every
machine and tell damage by their checksum, then base64. On songs for a band it takes about a twentieth
of the sheet. `arranger.sheet.record.base` alone reads what is packed here.
"""

from __future__ import annotations

import bz2
import json
from base64 import b64decode, b64encode
from fractions import Fraction
from functools import lru_cache
from itertools import groupby, pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.rows import REST
from arranger.sheet.model import (
    MAX_STEPS,
    Comment,
    Generated,
    Sheet,
    SheetBar,
    SheetSound,
    SoundPart,
    bar_runs,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_FORM = 1
_MOST_BYTES = 64_000_000
"""Of the JSON: more is not unpacked; a sheet of the most steps has some 4 million."""
_FIRST_VOICE_CELL = 40
"""A cell of a voice is one character, this far after its number."""
_FIRST_DRUM = 48
_UNTOLD: tuple[object, ...] = (None, "", [], ())
"""Values that are left out."""
_NO_DRUM = "."
_MOST_SHARPS = 7

Keys = tuple[tuple[int, bool], ...]
"""For each bar the sharps of its signature (flats are negative), and whether it is minor; none where
the song names no key that means something."""


class SheetRecord(NamedTuple):
    """What a record says."""

    sheet: Sheet
    """As generated; where it came from and how isn't part of it."""
    transpose: int
    """By how many semitones the song was moved."""
    standing: tuple[int | None, ...]
    """For each bar the number that it had when the program last wrote the edited sheet; None for one
    that wasn't in it."""
    numbers: tuple[int, ...]
    """Those of all bars of the edited sheet then."""
    keys: Keys = ()
    """The key of each bar as the song names it, moved with the song."""


def pack_record(
    sheet: Sheet,
    transpose: int,
    standing: Sequence[int | None] | None = None,
    written: Sequence[int] | None = None,
    keys: Keys = (),
) -> Generated:
    """Return the record of a sheet as it stands.

    ``sheet``: the sheet as generated; where it came from and how isn't part of the record.
    ``transpose``: by how many semitones the song was moved.
    ``standing``: as in `SheetRecord`; None: all bars stand there with their own numbers.
    ``written``: `Record.numbers`; None: those of ``standing``.
    ``keys``: `Record.keys`.
    """
    numbers = [bar.number for bar in sheet.bars]
    standing = numbers if standing is None else list(standing)
    known = [number for number in standing if number is not None]
    written = known if written is None else list(written)
    names = sorted({name for name in sheet.drums if name is not None})
    codes: dict[str | None, str] = {name: chr(_FIRST_DRUM + at) for at, name in enumerate(names)}
    codes[None] = _NO_DRUM
    starts = sheet.bar_starts
    rows = (
        bytes([_FIRST_VOICE_CELL + cell for cell in sheet.voice1]).decode("latin-1"),
        bytes([_FIRST_VOICE_CELL + cell for cell in sheet.voice2]).decode("latin-1"),
        "".join([codes[name] for name in sheet.drums]),
    )
    content = {
        "form": _FORM,
        "title": sheet.title,
        "engine": sheet.engine,
        "step": str(sheet.step_beats),
        "tempo": sheet.tempo,
        "length": sheet.length,
        "transpose": transpose,
        "bars": [(*bar[:4], count) for bar, count in bar_runs(sheet.bars)],
        "rows": [_folded(row, starts) for row in rows],
        "drums": names,
        "loop": sheet.loop_step,
        "sounds": sheet.sounds,
        "as": [(at, bar.as_bar) for at, bar in enumerate(sheet.bars) if bar.as_bar is not None],
        "sections": [(at, bar.section) for at, bar in enumerate(sheet.bars) if bar.section],
        "comments": sheet.comments,
        "standing": None if standing == numbers else standing,
        "numbers": None if written == known else written,
        "keys": [(*key, len(list(bars))) for key, bars in groupby(keys)],
    }
    told = {word: value for word, value in content.items() if value not in _UNTOLD}
    text = json.dumps(told, separators=(",", ":"), ensure_ascii=False)
    packed = bz2.compress(text.encode("utf-8", "surrogatepass"), 1)
    return Generated(b64encode(packed).decode("ascii"))


def is_whole(record: Generated) -> bool:
    """Return whether a record is as it was packed."""
    return _text(record) is not None


@lru_cache(maxsize=8)
def unpack_record(record: Generated) -> SheetRecord | None:
    """Return what a record says; None if it is damaged."""
    text = _text(record)
    if text is None:
        return None
    try:
        return _record(json.loads(text.decode("utf-8", "surrogatepass")))
    except (LookupError, TypeError, ValueError, ArithmeticError, RecursionError):
        return None


def _text(record: Generated) -> bytes | None:
    try:
        opened = bz2.BZ2Decompressor()
        text = opened.decompress(b64decode(record.packed, validate=True), _MOST_BYTES)
    except (OSError, ValueError):
        return None
    return text if opened.eof and not opened.unused_data else None


def _folded(row: str, starts: Sequence[int]) -> tuple[list[str], list[int]]:
    """Return the different bars of a row, and which of them each bar is."""
    words: dict[str, int] = {}
    order = [words.setdefault(row[start:end], len(words)) for start, end in pairwise(starts)]
    return list(words), order


def _record(told: dict[str, Any]) -> SheetRecord:
    """Return what is told; what they can't be is an error of Python's own."""
    if told["form"] != _FORM:
        raise ValueError
    bars = tuple(_with_marks(list(_bars(told["bars"])), told))
    steps = sum(bar.steps for bar in bars)
    names: list[str] = told.get("drums", [])
    drums: dict[str, str | None] = {chr(_FIRST_DRUM + at): name for at, name in enumerate(names)}
    drums[_NO_DRUM] = None
    voice1, voice2, hits = (_unfolded(row, bars) for row in told["rows"])
    sheet = Sheet(
        title=str(told.get("title", "")),
        engine=str(told.get("engine", "")),
        step_beats=Fraction(told["step"]),
        tempo=None if told.get("tempo") is None else float(told["tempo"]),
        length=None if told.get("length") is None else int(told["length"]),
        bars=bars,
        voice1=tuple(map(_cell, voice1)),
        voice2=tuple(map(_cell, voice2)),
        drums=tuple([drums[hit] for hit in hits]),
        sounds=tuple(
            SheetSound(
                str(name),
                tuple(
                    SoundPart(str(kind), tuple(map(int, settings)), int(time))
                    for kind, settings, time in parts
                ),
            )
            for name, parts in told.get("sounds", [])
        ),
        loop_step=None if told.get("loop") is None else range(steps)[told["loop"]],
        comments=tuple(
            Comment(int(bar), str(text), int(row), bool(beside))
            for bar, text, row, beside in told.get("comments", [])
        ),
    )
    numbers = [bar.number for bar in bars]
    standing = tuple(
        None if number is None else int(number) for number in told.get("standing", numbers)
    )
    if len(standing) != len(bars):
        raise ValueError
    written = told.get("numbers", [number for number in standing if number is not None])
    keys = tuple(
        (int(sharps), bool(minor))
        for sharps, minor, count in told.get("keys", [])
        for _ in range(min(count, len(bars)))
    )
    if len(keys) not in (0, len(bars)) or any(abs(sharps) > _MOST_SHARPS for sharps, _ in keys):
        raise ValueError
    return SheetRecord(sheet, int(told["transpose"]), standing, tuple(map(int, written)), keys)


def _cell(letter: str) -> int:
    cell = ord(letter) - _FIRST_VOICE_CELL
    if not REST <= cell < 128:
        raise ValueError
    return cell


def _bars(runs: list[list[int]]) -> Iterator[SheetBar]:
    steps = 0
    for number, length, numerator, denominator, count in runs:
        steps += length * count
        if min(length, numerator, denominator, count) < 1 or steps > MAX_STEPS:
            raise ValueError
        for at in range(count):
            yield SheetBar(number + at, length, numerator, denominator)


def _with_marks(bars: list[SheetBar], told: dict[str, Any]) -> list[SheetBar]:
    for at, other in told.get("as", []):
        bars[at] = bars[at]._replace(as_bar=range(at)[other])
    for at, name in told.get("sections", []):
        bars[at] = bars[at]._replace(section=str(name))
    return bars


def _unfolded(row: tuple[list[str], list[int]], bars: Sequence[SheetBar]) -> str:
    words, order = row
    found = [words[at] for at in order]
    if [len(word) for word in found] != [bar.steps for bar in bars]:
        raise ValueError
    return "".join(found)
