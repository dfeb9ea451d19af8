"""The sheet's text form: writing. `arranger.sheet.form.parse` reads it and holds the grammar.

Rows are written independently of each other, a cell to four columns, so that a change of one cell
shows as one line in a diff. A longer word (``snare``) borrows the space of the silent cells after
it; only where a word that matters would be pushed out of its column is the whole bar set wider.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from arranger.bars import metre_beat
from arranger.errors import SheetError
from arranger.pitch import pitch_name
from arranger.rows import HOLD, REST
from arranger.sheet.form.as_bars import as_numbers, unlike

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.sheet.model import Comment, Generated, Sheet, SheetSound

FORMAT = "arranger-sheet"
VERSION = 1

HEADER = (
    "title", "engine", "step", "length", "tempo", "source", "sha256", "settings", "digest", "end",
)  # fmt: skip
"""The header's lines in order; "end" is no line but the place after them (``Comment.row``)."""

SOUNDS_BELOW = "tempo"
"""The line of the header below which the drum sounds stand."""

ROWS = ("bar", "voice 1", "voice 2", "drums", "below")
"""The lines of a bar in order; "below" is the place after them (``Comment.row``)."""

GENERATED_NOTE = "these lines tell arranger which bars were edited"
"""Stands beside the first of them, and is none of the musician's comments."""

BELOW = ROWS.index("below")

LEAST_WIDTH = 3
"""Of a column: most pitches have so many characters at most."""

PACKED = "sheet"
"""Begins what the ``generated`` lines hold."""

_PACKED_A_LINE = 90
_DRUM_NAME = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*")
_LONGEST_NAME = 32
_SECTION = re.compile(r"[^\W\d_](?:[^\W_]|-){0,31}")

VOICE_WORDS = {HOLD: "-", REST: ".", **{pitch: pitch_name(pitch) for pitch in range(128)}}


def format_sheet(sheet: Sheet) -> str:
    """Return the sheet as text; `arranger.sheet.form.parse` reads the same value back.

    Raises
    ------
    SheetError
        If the value is no sheet: rows of different lengths, a cell that is no pitch, a drum without
        a proper name, a comment of several lines.
    """
    return "\n".join(laid_out(sheet).lines)


class LaidOut(NamedTuple):
    """A sheet's text, line by line."""

    lines: tuple[str, ...]
    bars: tuple[tuple[int, int], ...]
    """Of each bar the lines that it begins and ends with, from 1; bars written as one have the same."""


@lru_cache(maxsize=1)
def laid_out(sheet: Sheet) -> LaidOut:
    """Return the lines of a sheet's text, and where its bars stand; raises as `format_sheet`.

    Those of the last sheet are remembered: its file and its page have the same.
    """
    _check(sheet)
    notes = _by_place(sheet.comments)
    lines = [f"{FORMAT} {VERSION}", *_header(sheet, notes)]
    bars: list[tuple[int, int]] = []
    starts = sheet.bar_starts
    for first, last, number in _blocks(sheet, starts, notes):
        lines.append("")
        above = len(lines)
        lines.extend(_block(sheet, starts[first], first, last, number, notes))
        rows = [at for at, line in enumerate(lines[above:], above + 1) if line.lstrip()[:1] != "#"]
        bars += [(rows[0], rows[-1])] * (last + 1 - first)
    end = [text for place in sorted(notes) if place[0] >= len(sheet.bars) for text in notes[place]]
    if end:
        lines.extend(("", *(_comment(text) for text in end)))
    if sheet.generated is not None:
        lines.extend(("", *_generated(sheet.generated)))
    lines.append("")
    return LaidOut(tuple(lines), tuple(bars))


def _generated(record: Generated) -> Iterator[str]:
    """Yield the lines that tell what was generated."""
    packed, note = record.packed, f"   {_comment(GENERATED_NOTE)}"
    for at in range(0, max(len(packed), 1), _PACKED_A_LINE):
        yield f"generated {PACKED}  {packed[at : at + _PACKED_A_LINE]}{'' if at else note}"


@lru_cache(maxsize=256)
def implied_steps(step_beats: Fraction, numerator: int, denominator: int) -> int | None:
    """Return how many steps fill a bar of this metre; None when steps don't divide it."""
    steps = Fraction(4 * numerator, denominator) / step_beats
    return steps.numerator if steps.denominator == 1 else None


@lru_cache(maxsize=256)
def group_steps(step_beats: Fraction, numerator: int, denominator: int) -> int:
    """Return how many steps stand between two ``|``: a beat of the metre; 0 for none."""
    steps = metre_beat(numerator, denominator) / step_beats
    return steps.numerator if steps.denominator == 1 and steps > 1 else 0


def quoted(value: str) -> str:
    r"""Return a header value: bare where that is safe, else quoted with ``\u{...}`` escapes.

    >>> print(quoted("Tide"), quoted("a # b"), quoted("two\nlines"))
    Tide "a # b" "two\u{a}lines"
    """
    bare = value.isprintable() and value == value.strip() and "#" not in value
    if value and bare and not value.startswith('"'):
        return value
    escaped = "".join(
        "\\" + c if c in '"\\' else c if c.isprintable() else f"\\u{{{ord(c):x}}}" for c in value
    )
    return f'"{escaped}"'


_Places = dict[tuple[int, int, bool], list[str]]


def _by_place(comments: Sequence[Comment]) -> _Places:
    places: _Places = {}
    for comment in comments:
        places.setdefault((comment.bar, comment.row, comment.beside), []).append(comment.text)
    return places


def _header(sheet: Sheet, notes: _Places) -> Iterator[str]:
    tempo, length = sheet.tempo, sheet.length
    values = {
        "title": quoted(sheet.title),
        "engine": quoted(sheet.engine),
        "step": f"{sheet.step_beats} beat",
        "length": None if length is None else str(length),
        "tempo": None if tempo is None else f"{plain_number(tempo)} beats a minute",
        "source": sheet.source_file and quoted(sheet.source_file),
        "sha256": sheet.source_sha256 and quoted(sheet.source_sha256),
        "settings": sheet.settings and quoted(sheet.settings),
        "digest": sheet.digest and quoted(sheet.digest),
    }
    for row, word in enumerate(HEADER):
        value = values.get(word)
        yield from _line(f"{word:<10}{value}" if value else None, (-1, row), notes)
        if word == SOUNDS_BELOW:
            for place, sound in enumerate(sheet.sounds, len(HEADER)):
                yield from _line(f"{'drum':<10}{sound_text(sound)}", (-1, place), notes)


def plain_number(value: float) -> str:
    """Return a number in the fewest digits that are read back as the same.

    >>> print(plain_number(120.0), plain_number(132.25))
    120 132.25
    """
    return repr(value).removesuffix(".0")


def speed_text(sheet: Sheet) -> str:
    """Return the line of the header that decides how fast a sheet plays."""
    if sheet.length is not None:
        return f"length {sheet.length}"
    return "no tempo" if sheet.tempo is None else f"tempo {plain_number(sheet.tempo)}"


def sound_text(sound: SheetSound) -> str:
    """Return what a line of the header says of a drum sound.

    >>> from arranger.sheet.model import SheetSound, SoundPart
    >>> parts = SoundPart("noise", (354,), 20_000), SoundPart("kick", (4956, 1180), 12_500)
    >>> sound_text(SheetSound("clank", parts))
    'clank: noise 354 for 20 ms, then kick 4956 1180 for 12.5 ms'
    """
    parts = [
        " ".join((part.kind, *map(str, part.settings)))
        + (f" for {_milliseconds(part.microseconds)} ms" if part.microseconds else "")
        for part in sound.parts
    ]
    return f"{sound.name}: {', then '.join(parts)}"


def _milliseconds(microseconds: int) -> str:
    whole, more = divmod(microseconds, 1000)
    return f"{whole}.{more:03}".rstrip("0").rstrip(".")


def _blocks(
    sheet: Sheet, starts: Sequence[int], notes: _Places
) -> Iterator[tuple[int, int, int | None]]:
    """Yield what stands between blank lines: first and last bar, and the number that it is as.

    Bars that are as others are joined to a run where both count on and nothing stands between.
    """
    numbers = as_numbers(sheet.bars)
    noted = {place[0] for place in notes}
    closed = {place[0] for place in notes if place[1] > 0}
    loop = sheet.loop_step
    looped = None if loop is None else bisect_right(starts, loop) - 1
    first = 0
    for index, (bar, number) in enumerate(zip(sheet.bars, numbers, strict=True)):
        following = index + 1
        if (
            number is not None
            and following < len(numbers)
            and numbers[following] == number + 1
            and sheet.bars[following].number == bar.number + 1
            and not sheet.bars[following].section
            and following not in noted
            and following != looped
            and index not in closed
        ):
            continue
        yield first, index, numbers[first]
        first = following


def _block(
    sheet: Sheet, start: int, index: int, last: int, named: int | None, notes: _Places
) -> Iterator[str]:
    bar = sheet.bars[index]
    end = start + bar.steps
    head = f"bar {bar.number:<3} {bar.numerator}/{bar.denominator}"
    if last > index:
        head = f"bars {bar.number}-{sheet.bars[last].number}"
    elif implied_steps(sheet.step_beats, bar.numerator, bar.denominator) != bar.steps:
        head += f"   {bar.steps} step{'s' if bar.steps > 1 else ''}"
    if named is not None:
        head += f"   as {named}" + (f"-{named + last - index}" if last > index else "")
    if bar.section:
        head += f"   section {bar.section}"
    if sheet.loop_step is not None and start <= sheet.loop_step < end:
        head += "   loop" + (f" {sheet.loop_step - start + 1}" if sheet.loop_step > start else "")
    yield from _line(head, (index, 0), notes)
    if named is None:
        group = group_steps(sheet.step_beats, bar.numerator, bar.denominator)
        for row, cells in enumerate(rows_text(*sheet.between(start, end), group), 1):
            yield from _line(f"  {ROWS[row]:<10}{cells}", (index, row), notes)
    else:  # a comment on a row that isn't written goes below the line
        for row in range(1, BELOW):
            yield from _line(None, (last, row), notes)
    yield from _line(None, (last, BELOW), notes)


def bar_text(sheet: Sheet, index: int) -> tuple[str, str, str]:
    """Return the cells of a bar's three rows as the sheet's text has them."""
    bar, span = sheet.bars[index], sheet.bar_starts[index : index + 2]
    group = group_steps(sheet.step_beats, bar.numerator, bar.denominator)
    return rows_text(*sheet.between(*span), group)


def rows_text(
    voice1: Sequence[int], voice2: Sequence[int], drums: Sequence[str | None], group: int
) -> tuple[str, str, str]:
    """Return the cells of a bar's three rows as text, with a ``|`` after each ``group`` steps.

    A column is as wide as its longest word, so that what sounds together stands together.
    """
    rows = zip(*map(_column, voice1, voice2, drums), strict=True)
    first, second, hits = (_row(cells, group or len(voice1)) for cells in rows)
    return first, second, hits


@lru_cache(maxsize=10_000)
def _column(first: int, second: int, hit: str | None) -> tuple[str, str, str]:
    """Return the words of a step, each as wide as the longest."""
    words = VOICE_WORDS[first], VOICE_WORDS[second], hit or "."
    width = max(LEAST_WIDTH, *map(len, words))
    return words[0].ljust(width), words[1].ljust(width), words[2].ljust(width)


def _row(cells: Sequence[str], group: int) -> str:
    parts = [" ".join(cells[at : at + group]) for at in range(0, len(cells), group)]
    return " | ".join(parts).rstrip()


def _line(line: str | None, place: tuple[int, int], notes: _Places) -> Iterator[str]:
    """Yield a line with the comments above and beside it; without a line, its comments alone."""
    above = notes.get((*place, False), ())
    beside = notes.get((*place, True), ())
    if above or beside:
        bar, row = place
        indent = "  " if bar >= 0 and row > 0 else ""
        for text in above:
            yield indent + _comment(text)
        if line is None or len(beside) > 1:
            for text in beside:
                yield indent + _comment(text)
            beside = ()
    if line is not None:
        yield f"{line}   {_comment(beside[0])}" if beside else line


def _comment(text: str) -> str:
    return f"# {text}" if text else "#"


def _check(sheet: Sheet) -> None:
    steps = sum(bar.steps for bar in sheet.bars)
    lengths = [len(row) for row in sheet.rows]
    if {*lengths} != {steps}:
        one, two, three = lengths
        raise SheetError(f"the rows have {one}, {two} and {three} steps, the bars {steps}")
    _check_bars(sheet)
    strange = {cell for cell in (*sheet.voice1, *sheet.voice2) if cell not in VOICE_WORDS}
    if strange:
        raise SheetError(f"{min(strange)} is no pitch from 0 to 127, hold or rest")
    own = [sound.name for sound in sheet.sounds]
    for name in {*sheet.drums, *own}:
        if name is not None and not is_drum_name(name):
            raise SheetError(f"{name!r} can't be the name of a drum sound")
    if len(set(own)) != len(own) or not all(sound.parts for sound in sheet.sounds):
        raise SheetError("a drum sound is defined twice, or has no part")
    if sheet.loop_step is not None and not 0 <= sheet.loop_step < steps:
        raise SheetError(f"the loop goes back to step {sheet.loop_step} of {steps}")
    for comment in sheet.comments:
        text = comment.text
        if "\n" in text or "\r" in text or text != text.rstrip():
            raise SheetError(f"the comment {text!r} is not one line without blanks at its end")
        if any("\ud800" <= c <= "\udfff" for c in text):
            raise SheetError(f"the comment {text!r} can't be written as UTF-8")


def _check_bars(sheet: Sheet) -> None:
    if any(bar.steps < 1 or bar.numerator < 1 or bar.denominator < 1 for bar in sheet.bars):
        raise SheetError("a bar has no step or no metre")
    for index in unlike(sheet):
        raise SheetError(f"bar {sheet.bars[index].number} isn't what the bar is that it is as")
    for bar in sheet.bars:
        if bar.section and not is_section_name(bar.section):
            raise SheetError(f"{bar.section!r} can't be the name of a section")


def is_section_name(name: str) -> bool:
    """Return whether a section can be called so: a letter, then letters, digits, hyphens."""
    return _SECTION.fullmatch(name) is not None


def is_drum_name(name: str) -> bool:
    """Return whether a drum row can hold this word: letters and digits, single hyphens between."""
    return len(name) <= _LONGEST_NAME and _DRUM_NAME.fullmatch(name) is not None
