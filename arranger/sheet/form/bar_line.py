"""What the line of a bar, or of a run of bars, says."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from arranger.sheet.form.header_values import UnknownWord
from arranger.sheet.form.text import is_section_name

if TYPE_CHECKING:
    from arranger.sheet.model import SheetBar

_NUMBER = re.compile(r"\d{1,9}", re.ASCII)
_BAR_NUMBER = re.compile(r"-?\d{1,9}", re.ASCII)
_RUN = re.compile(r"(-?\d{1,9})-(-?\d{1,9})", re.ASCII)
_DASHES = re.compile("[\u2010-\u2015\u2212]")
_METRE = re.compile(r"(\d{1,4})/(\d{1,4})", re.ASCII)


class BarLine(NamedTuple):
    """What a bar line says."""

    number: int
    last: int
    """The number of the last bar of a run; else the same."""
    metre: tuple[int, int] | None = None
    """None: not said."""
    steps: int | None = None
    """None: as many as fill the metre."""
    named: tuple[int, int] | None = None
    """The numbers of the first and last bar that it is as."""
    section: str = ""
    loop: int | None = None
    """The step of the bar, from 1, to go back to."""

    def __str__(self) -> str:
        """Return the bars in words: "bar 9 is", "bars 9-16 are"."""
        if self.last == self.number:
            return f"bar {self.number} is"
        return f"bars {self.number}-{self.last} are"

    @property
    def named_text(self) -> str:
        """The bars that it is as: "1" or "1-8"."""
        return "-".join(map(str, dict.fromkeys(self.named or ())))


def is_bar_number(word: str) -> bool:
    """Return whether a word is the number of a bar."""
    return _BAR_NUMBER.fullmatch(word) is not None


def read_bar_line(words: list[str], before: SheetBar | None) -> BarLine:
    """Return what a bar line says.

    ``words``: the line's words, "bar" or "bars" first.
    ``before``: the bar before, which lends its number.

    Raises `UnknownWord` if a word stands for nothing, or a run and the bars that it is as don't go
    together.
    """
    number = 1 if before is None else before.number + 1
    last: int | None = None
    metre: tuple[int, int] | None = None
    steps: int | None = None
    rest = words[1:]
    if rest and (run := _RUN.fullmatch(rest[0])):
        number, last = int(run[1]), int(run[2])
        rest.pop(0)
    elif rest and is_bar_number(rest[0]) and rest[1:2] not in (["steps"], ["step"]):
        number = int(rest.pop(0))
    if rest and (match := _METRE.fullmatch(rest[0])):
        metre = int(match[1]), int(match[2])
        if not all(metre):
            at = len(words) - len(rest)
            raise UnknownWord(
                "metre", f"{match[0]} is no metre", "write one like 4/4 or 6/8", word=at
            )
        rest.pop(0)
    if len(rest) > 1 and _NUMBER.fullmatch(rest[0]) and rest[1].lower() in ("step", "steps"):
        steps = int(rest[0])
        del rest[:2]
    line = BarLine(number, number if last is None else last, metre, steps)
    line, named_at = _marks(line, rest, len(words))
    _check_run(line, is_run=last is not None, named_at=named_at)
    return line


def _marks(line: BarLine, rest: list[str], count: int) -> tuple[BarLine, int]:
    """Return the line with what stands after the metre, and where the bars that it is as stand."""
    named_at = 1
    while rest:
        at = count - len(rest)
        word = rest.pop(0).lower()
        if word == "as" and line.named is None and rest and (named := _named(rest[0])):
            line, named_at = line._replace(named=named), at + 1
            rest.pop(0)
        elif word == "section" and not line.section and rest and is_section_name(rest[0]):
            line = line._replace(section=rest.pop(0))
        elif word == "loop" and line.loop is None:
            loop = int(rest.pop(0)) if rest and _NUMBER.fullmatch(rest[0]) else 1
            line = line._replace(loop=loop)
        else:
            raise _stray(word, rest, at)
    return line, named_at


def _named(word: str) -> tuple[int, int] | None:
    if run := _RUN.fullmatch(word):
        return int(run[1]), int(run[2])
    return (int(word), int(word)) if is_bar_number(word) else None


def _stray(word: str, rest: list[str], at: int) -> UnknownWord:
    """Return what is wrong with a word that stands for nothing on a bar line."""
    if word == "as":
        what = f"as {rest[0][:40]!r} names no bar" if rest else "as names no bar"
        return UnknownWord("as-bar", what, "write the number of a bar above, like as 1", word=at)
    if word == "section":
        what = f"{rest[0][:40]!r} can't be the name of a section" if rest else "it has no name"
        remedy = "begin with a letter, then letters, digits, hyphens: section B"
        return UnknownWord("section", what, remedy, word=at)
    what = f"the bar line has {' '.join((word, *rest))[:40]!r} after what belongs there"
    remedy = "write like: bar 5   4/4   14 steps   section B   loop, or bar 6   as 2"
    plain = _DASHES.sub("-", word)
    if plain != word:  # as editors make of hyphens
        remedy = f"did you mean {plain!r}?"
    return UnknownWord("bar-line", what, remedy, word=at)


def _check_run(line: BarLine, *, is_run: bool, named_at: int) -> None:
    """Refuse a run that runs backwards, is as nothing, or as a run of another length."""
    number, last, named = line.number, line.last, line.named
    if last < number:
        what = f"bars {number}-{last} run backwards"
        raise UnknownWord("as-run", what, f"write bars {last}-{number}", word=1)
    if named is None:
        if is_run:
            what, remedy = "it doesn't say what these bars are as", "write like: bars 9-16   as 1-8"
            raise UnknownWord("as-run", what, remedy + ", or a line for each bar", word=1)
        return
    count, others = last - number + 1, named[1] - named[0] + 1
    if others < 1:
        what = f"the bars {line.named_text} run backwards"
        raise UnknownWord("as-run", what, f"write as {named[1]}-{named[0]}", word=named_at)
    if count != others:
        what = f"{line} {count} bar{'s' * (count > 1)}, {line.named_text} {_are(others)}"
        whole = f"{named[0]}-{named[0] + count - 1}" if count > 1 else str(named[0])
        remedy = f"write as {whole}, or bars {number}-{number + others - 1}"
        if others == 1:
            remedy = f"write as {whole}, or a line for each bar"
        raise UnknownWord("as-run", what, remedy, word=named_at)


def _are(count: int) -> str:
    return f"are {count}" if count > 1 else "is one"
