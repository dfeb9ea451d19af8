r"""The sheet's text form: reading, and the grammar.

    sheet     = "arranger-sheet" version NL { header } { bar } { generated }
    header    = ( "title" | "engine" | "source" | "sha256" | "settings" | "digest" ) text NL
              | "step" number [ "/" number ] [ "beat" ] NL
              | "length" number NL
              | "tempo" decimal { word } NL
    text      = plain characters without "#" | '"' { character | escape } '"'
    escape    = '\"' | "\\" | "\u{" hexadecimal "}"
    bar       = "bar" [ number ] [ metre ] [ number ( "step" | "steps" ) ] [ "loop" [ number ] ] NL
                { "voice" ( "1" | "2" ) { cell | "|" } NL | "drums" { hit | "|" } NL }
    metre     = number "/" number
    cell      = pitch | "-" | "."
    pitch     = letter [ "#" | "##" | "b" | "bb" ] octave
    hit       = name of a drum sound | "."
    generated = "generated" ( "header" | number ) { digest } NL

White space and ``|`` divide and mean nothing else; blank lines may stand anywhere; dots and hyphens
may be typed together (``G4 ---``). A comment goes from a ``#`` at the start of a line or after white
space to the end of the line; it may stand on every line but the first. A bar without a metre has
that of the bar before (at the start 4/4), one without a number counts on. Without "steps" a bar has
as many steps as fill its metre; a row that is left out is silent. ``loop`` marks the step of the bar
(from 1) at which the piece goes on after its last step.

The reader finds every problem in one pass, not only the first: `scan` returns them all.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from arranger.errors import SheetError
from arranger.pitch import parse_pitch, pitch_name
from arranger.sheet.model import HOLD, REST, BarDigest, Comment, Generated, Sheet, SheetBar
from arranger.sheet.problem import ERROR, WARNING, Problem
from arranger.sheet.text import BELOW, FORMAT, HEADER, ROWS, VERSION, implied_steps, is_drum_name

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

MAX_STEPS = 1_000_000
"""A sheet of more steps is not read; the longest that is made has 200,000."""

MAX_BAR_STEPS = 10_000

_Span = tuple[int, int]
"""Column (from 1) and width, in characters."""

_HEADER_WORDS = frozenset(HEADER[:-1])
_HEADER_END = len(HEADER) - 1

_WORD = re.compile(r"[^\s|]+")
_COMMENT = re.compile(r"(?:^|(?<=\s))#")
_QUOTED = re.compile(r'"((?:[^"\\]|\\.)*)"')
_HEADER_QUOTED = re.compile(r'\s*\w+\s+"(?:[^"\\]|\\.)*"')
_ESCAPE = re.compile(r"\\(?:u\{([0-9a-fA-F]{1,6})\}|(.))")
_STEP = re.compile(r"(\d{1,6})(?:\s*/\s*(\d{1,6}))?(?:\s+beats?)?", re.ASCII)
_TEMPO = re.compile(r"(\d{1,9}(?:\.\d{1,20})?(?:e[+-]?\d{1,3})?)(?:\s.*)?", re.ASCII)
_NUMBER = re.compile(r"\d{1,9}", re.ASCII)
_BAR_NUMBER = re.compile(r"-?\d{1,9}", re.ASCII)
_METRE = re.compile(r"(\d{1,4})/(\d{1,4})", re.ASCII)
_DIGEST = re.compile(r"[0-9a-f]{10}")
_RUN = re.compile(r"[-.]+")

_CELLS = {"-": HOLD, ".": REST}
for _pitch in range(12, 120):
    _CELLS[pitch_name(_pitch)] = _pitch


@dataclass(slots=True)
class Scan:
    """What reading a text found. The sheet is there whatever the problems, mended to be whole."""

    sheet: Sheet
    problems: list[Problem]
    """In the order of their lines."""
    row_lines: list[tuple[int, int, int, int]]
    """For each bar the line numbers of its bar line and its three rows; 0 for one left out."""
    header_lines: dict[str, int]
    """The line number of each word of the header that is there."""
    lines: list[str]

    def cell_place(self, bar: int, row: int, step: int) -> tuple[int, int, int]:
        """Return line, column and width of a cell (row 1..3, step of the bar from 0)."""
        number = self.row_lines[bar][row]
        if number == 0:
            return self.row_lines[bar][0], 1, 1
        spots = _spots(_without_comment(self.lines[number - 1])[0], _skipped(row))
        at, width = spots[step] if step < len(spots) else (0, 1)
        return number, at + 1, width

    def header_place(self, line: int) -> tuple[int, int]:
        """Return column and width of the value on a line of the header."""
        code = _without_comment(self.lines[line - 1])[0].rstrip()
        first = _WORD.search(code)
        value = code[first.end() :].lstrip() if first else ""
        return (len(code) - len(value) + 1, len(value)) if value else (1, max(len(code), 1))


def parse(text: str, file: str | Path | None = None) -> Sheet:
    """Return the sheet that a text stands for.

    Raises
    ------
    SheetError
        If it is no sheet; names the first error. `scan` lists them all.
    """
    found = scan(text)
    errors = [problem for problem in found.problems if problem.severity == ERROR]
    if errors:
        first = errors[0]
        more = len(errors) - 1
        remedy = first.remedy + (f" ({more} more: arranger check lists all)" if more else "")
        raise SheetError(first.what, file=file, place=first.place, remedy=remedy)
    return found.sheet


def scan(text: str) -> Scan:
    """Read a text and return the sheet with every problem in its form."""
    return _Reader(text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")).read()


@dataclass(slots=True)
class _OpenBar:
    """The bar whose rows are being read."""

    line: int
    number: int
    numerator: int
    denominator: int
    steps: int | None = None
    loop: int | None = None
    """The step of the bar, from 1."""
    rows: dict[int, list[int] | list[str | None]] = field(default_factory=dict)
    row_lines: dict[int, int] = field(default_factory=dict)


class _Reader:
    """Reads line by line, in one pass, and notes what it finds."""

    def __init__(self, text: str) -> None:
        self.lines = text.split("\n")
        self.line = 0
        self.problems: list[Problem] = []
        self.header: dict[str, str] = {}
        self.header_lines: dict[str, int] = {}
        self.step = Fraction(1, 4)
        self.length = 1
        self.tempo: float | None = None
        self.bars: list[SheetBar] = []
        self.row_lines: list[tuple[int, int, int, int]] = []
        self.voice1: list[int] = []
        self.voice2: list[int] = []
        self.drums: list[str | None] = []
        self.loop: int | None = None
        self.open: _OpenBar | None = None
        self.generated: list[tuple[int, list[str]]] = []
        self.comments: list[Comment] = []
        # Comments on lines of their own wait here until the next line tells where they belong.
        self.loose: list[str] = []
        self.loose_after_blank = False
        self.header_loose: list[str] = []
        self.after_blank = False

    def read(self) -> Scan:
        for number, line in enumerate(self.lines, 1):
            self.line = number
            code, comment = _without_comment(line) if "#" in line else (line, None)
            words = code.replace("|", " ").split()
            if number == 1:
                self._first(words, code)
                if comment:
                    self.loose.append(comment)
            elif words:
                self._line(words, code, comment)
            elif comment is not None:
                if not self.loose:
                    self.loose_after_blank = self.after_blank
                self.loose.append(comment)
            else:
                self._blank()
            self.after_blank = not words and comment is None
            if len(self.voice1) > MAX_STEPS:
                self._problem("too-long", f"more than {MAX_STEPS} steps", "split the piece")
                break
        self._blank()
        self._close_bar()
        self._settle(-1, _HEADER_END, self.header_loose)
        self._settle(len(self.bars), 0, self.loose)
        self._complete()
        sheet = self._sheet()
        self.problems.sort(key=lambda problem: (problem.line, problem.column))
        return Scan(sheet, self.problems, self.row_lines, self.header_lines, self.lines)

    def _first(self, words: list[str], code: str) -> None:
        if words[:1] != [FORMAT]:
            first = f"{FORMAT} {VERSION}"
            self._problem("no-sheet", f"doesn't begin with {first!r}", f"begin with {first}")
        elif words[1:] != [str(VERSION)]:
            self._problem(
                "version",
                f"is a sheet of version {' '.join(words[1:])[:20]!r}, not {VERSION}",
                "use a newer version of arranger",
                _at(code, 1),
            )

    def _line(self, words: list[str], code: str, comment: str | None) -> None:
        word = words[0].lower()
        if word == "voice" and words[1:2] in (["1"], ["2"]):
            place = self._row(int(words[1]), words, code)
        elif word == "drums":
            place = self._row(3, words, code)
        elif word == "bar":
            place = self._bar(words, code)
        elif word in _HEADER_WORDS:
            place = self._header(word, code)
        elif word == "generated":
            self._close_bar()
            self.generated.append((self.line, words[1:]))
            place = (len(self.bars), 0)
        else:
            self._problem(
                "unknown-word",
                f"a line begins with {words[0][:40]!r}",
                "begin with bar, voice 1, voice 2, drums or #",
                _at(code, 0),
            )
            place = (len(self.bars), 0)
        self._settle(*place, self.loose)
        if comment is not None:
            self.comments.append(Comment(*place[:1], comment, place[1], True))

    def _blank(self) -> None:
        """Comments straight below a row belong to it, if a blank line follows them."""
        if not self.loose or self.loose_after_blank:
            return
        if self.open is not None:
            self._settle(len(self.bars), BELOW, self.loose)
        elif not self.bars:
            self.header_loose += self.loose
            self.loose.clear()

    def _settle(self, bar: int, row: int, texts: list[str]) -> None:
        if texts:
            self.comments.extend(Comment(bar, text, row) for text in texts)
            texts.clear()

    def _header(self, word: str, code: str) -> tuple[int, int]:
        place = (-1, HEADER.index(word))
        if self.open is not None or self.bars:
            self._problem(
                "header-below", f"{word} stands below a bar", "move it above the first bar"
            )
            return (len(self.bars), 0)
        if word in self.header:
            self._problem("twice", f"{word} stands twice", "take one away")
            return place
        self._settle(*place, self.header_loose)
        start = _WORD.search(code)
        at = 0 if start is None else start.end()
        value = code[at:].strip()
        column = (code.index(value, at) + 1, max(len(value), 1))
        self.header_lines[word] = self.line
        self.header[word] = self._value(word, value, column)
        return place

    def _value(self, word: str, value: str, place: _Span) -> str:
        if value.startswith('"'):
            match = _QUOTED.fullmatch(value)
            if match is None:
                self._problem("quotes", "the quotes don't match", 'write \\" for a quote', place)
                return value
            value = _ESCAPE.sub(_unescaped, match[1])
        if word == "step":
            match = _STEP.fullmatch(value)
            if match is None or not int(match[1]) or not int(match[2] or 1):
                self._problem(
                    "step", f"{value[:40]!r} is no share of a beat", "write step 1/4 beat", place
                )
            else:
                self.step = Fraction(int(match[1]), int(match[2] or 1))
        elif word == "length":
            if _NUMBER.fullmatch(value):
                self.length = int(value)
            else:
                self._problem(
                    "length",
                    f"{value[:40]!r} is no whole number",
                    "write one of the engine's step lengths; arranger engines NAME lists them",
                    place,
                )
        elif word == "tempo":
            match = _TEMPO.fullmatch(value)
            if match is None:
                self._problem(
                    "tempo",
                    f"{value[:40]!r} is no tempo",
                    "write beats a minute, or nothing",
                    place,
                )
            else:
                self.tempo = float(match[1])
        return value

    def _bar(self, words: list[str], code: str) -> tuple[int, int]:
        self._close_bar()
        self._settle(-1, _HEADER_END, self.header_loose)
        before = self.bars[-1] if self.bars else SheetBar(0, 1, 4, 4)
        bar = _OpenBar(self.line, before.number + 1, before.numerator, before.denominator)
        rest = words[1:]
        if rest and _BAR_NUMBER.fullmatch(rest[0]) and rest[1:2] not in (["steps"], ["step"]):
            bar.number = int(rest.pop(0))
        if rest and (match := _METRE.fullmatch(rest[0])):
            rest.pop(0)
            if int(match[1]) and int(match[2]):
                bar.numerator, bar.denominator = int(match[1]), int(match[2])
            else:
                self._problem("metre", f"{match[0]} is no metre", "write one like 4/4 or 6/8")
        if len(rest) > 1 and _NUMBER.fullmatch(rest[0]) and rest[1].lower() in ("step", "steps"):
            bar.steps = int(rest[0])
            del rest[:2]
        if rest and rest[0].lower() == "loop":
            rest.pop(0)
            bar.loop = int(rest.pop(0)) if rest and _NUMBER.fullmatch(rest[0]) else 1
        if rest:
            self._problem(
                "bar-line",
                f"the bar line has {' '.join(rest)[:40]!r} after what belongs there",
                "write like: bar 5   4/4   14 steps   loop",
                _at(code, len(words) - len(rest)),
            )
        self.open = bar
        return (len(self.bars), 0)

    def _row(self, row: int, words: list[str], code: str) -> tuple[int, int]:
        if self.open is None:
            self._problem(
                "row-outside", f"{ROWS[row]} stands outside a bar", "write a bar line above it"
            )
            return (len(self.bars), 0)
        if row in self.open.rows:
            number = self.open.number
            self._problem(
                "twice",
                f"bar {number} has {ROWS[row]} twice",
                "take one away, or write a bar line between",
                _at(code, 0),
            )
            return (len(self.bars), row)
        self.open.rows[row] = (
            self._hits(words[1:], code) if row == 3 else self._tones(words[2:], code)
        )
        self.open.row_lines[row] = self.line
        return (len(self.bars), row)

    def _tones(self, words: list[str], code: str) -> list[int]:
        try:
            return [_CELLS[word] for word in words]
        except KeyError:
            pass
        cells: list[int] = []
        for index, word in enumerate(words, 2):
            if _RUN.fullmatch(word):
                cells.extend(_CELLS[sign] for sign in word)
                continue
            try:
                cells.append(parse_pitch(word))
            except ValueError:
                cells.append(REST)
                self._problem(
                    "unknown-pitch",
                    f"{word[:40]!r} is no pitch",
                    "write one from C-1 to G9 like C4, F#3 or Bb2, - to hold, . for silence",
                    _at(code, index),
                )
        return cells

    def _hits(self, words: list[str], code: str) -> list[str | None]:
        cells: list[str | None] = []
        for index, word in enumerate(words, 1):
            if word == ".":
                cells.append(None)
            elif is_drum_name(word.lower()):
                cells.append(word.lower())
            elif _RUN.fullmatch(word) and "-" not in word:
                cells.extend(None for _ in word)
            else:
                cells.append(None)
                held = _RUN.fullmatch(word) is not None
                self._problem(
                    "drum-held" if held else "drum-name",
                    "a drum can't be held" if held else f"{word[:40]!r} is no drum sound",
                    "write . after the drum" if held else "write a name like kick, or .",
                    _at(code, index),
                )
        return cells

    def _close_bar(self) -> None:
        bar = self.open
        if bar is None:
            return
        self.open = None
        steps = self._steps(bar)
        for row, cells in bar.rows.items():
            if len(cells) != steps:
                self._wrong_count(bar, row, len(cells), steps)
        start = len(self.voice1)
        silent: list[int] = []
        _extend(self.voice1, bar.rows.get(1, silent), steps, REST)
        _extend(self.voice2, bar.rows.get(2, silent), steps, REST)
        _extend(self.drums, bar.rows.get(3, silent), steps, None)
        if bar.loop is not None:
            self._set_loop(bar, start, steps)
        self.bars.append(SheetBar(bar.number, steps, bar.numerator, bar.denominator))
        lines = bar.row_lines
        self.row_lines.append((bar.line, lines.get(1, 0), lines.get(2, 0), lines.get(3, 0)))

    def _steps(self, bar: _OpenBar) -> int:
        steps = bar.steps
        metre = f"{bar.numerator}/{bar.denominator}"
        typed = max((len(cells) for cells in bar.rows.values()), default=0)
        if steps is None:
            steps = implied_steps(self.step, bar.numerator, bar.denominator)
            if steps is None:
                self._problem(
                    "bar-steps",
                    f"steps of {self.step} beat don't fill a bar of {metre}",
                    f"write how many it has, such as {metre}   {typed or 4} steps",
                    line=bar.line,
                )
        if steps is not None and not 1 <= steps <= MAX_BAR_STEPS:
            self._problem(
                "bar-steps",
                f"bar {bar.number} would have {steps} steps",
                f"write from 1 to {MAX_BAR_STEPS}",
                line=bar.line,
            )
            steps = None
        return min(max(typed, 1), MAX_BAR_STEPS) if steps is None else steps

    def _wrong_count(self, bar: _OpenBar, row: int, count: int, steps: int) -> None:
        number = bar.row_lines[row]
        code = _without_comment(self.lines[number - 1])[0]
        more = count - steps
        if more > 0:
            at, width = _spots(code, _skipped(row))[steps]
            remedy = f"take {more} away"
        else:
            at, width = len(code.rstrip()) + 1, 1
            remedy = f"add {-more}"
        self._problem(
            "wrong-steps",
            f"bar {bar.number} has {steps} steps, {ROWS[row]} has {count}",
            f"{remedy}, or write {count} steps on the bar line",
            (at + 1, width),
            line=number,
        )

    def _set_loop(self, bar: _OpenBar, start: int, steps: int) -> None:
        assert bar.loop is not None  # noqa: S101 -- the caller looked
        if self.loop is not None:
            self._problem(
                "twice", "loop stands on two bars", "keep the one to go back to", line=bar.line
            )
        elif not 1 <= bar.loop <= steps:
            self._problem(
                "loop",
                f"bar {bar.number} has no step {bar.loop} to go back to",
                f"write loop, or loop with a step from 1 to {steps}",
                line=bar.line,
            )
        else:
            self.loop = start + bar.loop - 1

    def _complete(self) -> None:
        for word in ("engine", "step", "length"):
            if word not in self.header:
                self._problem("no-" + word, f"has no line {word!r}", "add it to the header", line=1)
        if not self.bars:
            self._problem("no-bars", "has no bar", "write one: bar 1   4/4", line=1)

    def _digests(self) -> Generated | None:
        """Return what the generated lines say; damaged ones are passed over with a warning."""
        found: list[BarDigest] = []
        header: list[str] | None = None
        for line, words in self.generated:
            whole = all(_DIGEST.fullmatch(word) for word in words[1:])
            if whole and words[:1] == ["header"] and len(words) == 4:
                header = words[1:]
            elif whole and words and _BAR_NUMBER.fullmatch(words[0]):
                found.extend(BarDigest(n, word) for n, word in enumerate(words[1:], int(words[0])))
            else:
                self._problem(
                    "digests",
                    "this line was damaged, so some bars count as edited that aren't",
                    "undo the change to it, or take it away",
                    line=line,
                    severity=WARNING,
                )
        return None if header is None else Generated(header[0], header[1], header[2], tuple(found))

    def _sheet(self) -> Sheet:
        header = self.header
        return Sheet(
            title=header.get("title", ""),
            engine=header.get("engine", ""),
            step_beats=self.step,
            step_setting=self.length,
            bars=tuple(self.bars),
            voice1=tuple(self.voice1),
            voice2=tuple(self.voice2),
            drums=tuple(self.drums),
            loop_step=self.loop,
            source_file=header.get("source", ""),
            source_sha256=header.get("sha256", ""),
            settings=header.get("settings", ""),
            tempo=self.tempo,
            digest=header.get("digest", ""),
            generated=self._digests(),
            comments=tuple(sorted(self.comments, key=lambda c: (c.bar, c.row, c.beside))),
        )

    def _problem(
        self,
        code: str,
        what: str,
        remedy: str,
        place: _Span = (1, 1),
        *,
        line: int | None = None,
        severity: str = ERROR,
    ) -> None:
        number = self.line if line is None else line
        self.problems.append(Problem(severity, code, number, *place, what, remedy))


def _without_comment(line: str) -> tuple[str, str | None]:
    """Return the line before its comment, and the comment's text or None."""
    start = 0
    if '"' in line and (quoted := _HEADER_QUOTED.match(line)):
        start = quoted.end()
    match = _COMMENT.search(line, start)
    if match is None:
        return line, None
    return line[: match.start()], line[match.end() :].removeprefix(" ").rstrip()


def _unescaped(match: re.Match[str]) -> str:
    if match[1] is None:
        return match[2]
    return chr(min(int(match[1], 16), 0x10FFFF))


def _at(code: str, index: int) -> _Span:
    """Return column and width of a word of a line, counted from 0."""
    for count, match in enumerate(_WORD.finditer(code)):
        if count == index:
            return match.start() + 1, match.end() - match.start()
    return 1, 1


def _skipped(row: int) -> int:
    """Return how many words stand before the cells of a row."""
    return len(ROWS[row].split())


def _spots(code: str, skip: int) -> list[tuple[int, int]]:
    """Return offset and width of each cell of a row; a run of signs is a cell each."""
    found: list[tuple[int, int]] = []
    for index, match in enumerate(_WORD.finditer(code)):
        if index < skip:
            continue
        if _RUN.fullmatch(match[0]):
            found.extend((at, 1) for at in range(match.start(), match.end()))
        else:
            found.append((match.start(), match.end() - match.start()))
    return found


def _extend(row: list[Any], cells: Sequence[Any], steps: int, silence: int | None) -> None:
    row.extend(cells[:steps])
    row.extend([silence] * (steps - len(cells)))
