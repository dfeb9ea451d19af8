r"""The sheet's text form: reading, and the grammar.

    sheet     = "arranger-sheet" version NL { header } { bar } { generated }
    header    = ( "title" | "engine" | "source" | "sha256" | "settings" | "digest" ) text NL
              | "step" number [ "/" number ] [ "beat" ] NL
              | "length" number NL
              | "tempo" decimal { word } NL
              | "drum" name ":" part { [ "," ] "then" part } NL
    part      = ( "kick" | "noise" ) number { number } [ "for" decimal "ms" ]
    text      = plain characters without "#" | '"' { character | escape } '"'
    escape    = '\"' | "\\" | "\u{" hexadecimal "}"
    bar       = "bar" [ number ] [ metre ] [ number ( "step" | "steps" ) ] [ "loop" [ number ] ] NL
                { "voice" ( "1" | "2" ) { cell | "|" } NL | "drums" { hit | "|" } NL }
    metre     = number "/" number
    cell      = pitch | "-" | "."
    pitch     = letter [ "#" | "##" | "b" | "bb" ] octave
    hit       = name of a drum sound | "."
    name      = letter { letter | digit | "-" }
    generated = "generated" ( "header" | number ) { digest } NL

White space and ``|`` divide and mean nothing else; blank lines may stand anywhere; dots and hyphens
may be typed together (``G4 ---``). A comment goes from a ``#`` at the start of a line or after white
space to the end of the line; it may stand on every line but the first. A bar without a metre has
that of the bar before (at the start 4/4), one without a number counts on. Without "steps" a bar has
as many steps as fill its metre; a row that is left out is silent. ``loop`` marks the step of the bar
(from 1) at which the piece goes on after its last step.

A ``drum`` line defines a drum sound of the sheet's own; a part without a length lasts to the end of
the step. What the settings mean is the engine's.

The reader finds every problem in one pass, not only the first: `scan` returns them all.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from arranger.errors import SheetError
from arranger.rows import REST
from arranger.sheet.header import HEADER_WORDS, SOUND, Header
from arranger.sheet.lexical import cell_spans, value_span, without_comment, word_spans
from arranger.sheet.model import BarDigest, Comment, Generated, Sheet, SheetBar
from arranger.sheet.problem import ERROR, WARNING, Problem
from arranger.sheet.text import BELOW, FORMAT, GENERATED_NOTE, HEADER, ROWS, VERSION, implied_steps
from arranger.sheet.values import (
    WRITE_TEMPO,
    BarLine,
    Fault,
    is_bar_number,
    read_bar_line,
    read_hits,
    read_tones,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from arranger.sheet.lexical import Span

MAX_STEPS = 1_000_000
"""A sheet of more steps is not read; the longest that is made has 200,000."""

MAX_BAR_STEPS = 10_000

MOST_PROBLEMS = 10_000
"""More aren't listed."""

_HEADER_END = len(HEADER) - 1
_DRUMS = ROWS.index("drums")
_DIGEST = re.compile(r"[0-9a-f]{10}")


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
    sound_lines: list[int]
    """The line number of each of the sheet's drum sounds."""
    lines: list[str]

    def row_place(self, bar: int, row: int) -> tuple[int, list[Span]]:
        """Return the line of a row (1..3) and where its cells stand.

        For a row that was left out: the bar line, and no cells.
        """
        number = self.row_lines[bar][row]
        if number == 0:
            return self.row_lines[bar][0], []
        return number, cell_spans(without_comment(self.lines[number - 1])[0], row)

    def header_place(self, line: int) -> tuple[int, int]:
        """Return column and width of the value on a line of the header."""
        return value_span(without_comment(self.lines[line - 1])[0])


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
    head: BarLine
    rows: dict[int, list[int] | list[str | None]] = field(default_factory=dict)
    row_lines: dict[int, int] = field(default_factory=dict)


class _Reader:
    """Reads line by line, in one pass, and notes what it finds."""

    def __init__(self, text: str) -> None:
        self.lines = text.split("\n")
        self.line = 0
        self.problems: list[Problem] = []
        self.header = Header()
        self.bars: list[SheetBar] = []
        self.row_lines: list[tuple[int, int, int, int]] = []
        self.voice1: list[int] = []
        self.voice2: list[int] = []
        self.drums: list[str | None] = []
        self.loop: int | None = None
        self.known_hits: dict[str, str | None] = {".": None}
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
            code, comment = without_comment(line) if "#" in line else (line, None)
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
        lines, sound_lines = self.header.lines, self.header.sound_lines
        return Scan(sheet, self.problems, self.row_lines, lines, sound_lines, self.lines)

    def _first(self, words: list[str], code: str) -> None:
        if words[:1] != [FORMAT]:
            first = f"{FORMAT} {VERSION}"
            self._problem("no-sheet", f"doesn't begin with {first!r}", f"begin with {first}")
        elif words[1:] != [str(VERSION)]:
            self._problem(
                "version",
                f"is a sheet of version {' '.join(words[1:])[:20]!r}, not {VERSION}",
                "use a newer version of arranger",
                word_spans(code)[-1],
            )

    def _line(self, words: list[str], code: str, comment: str | None) -> None:
        word = words[0].lower()
        if word == "voice" and words[1:2] in (["1"], ["2"]):
            place = self._row(int(words[1]), words, code)
        elif word == "drums":
            place = self._row(_DRUMS, words, code)
        elif word == "bar":
            place = self._bar(words, code)
        elif word in HEADER_WORDS:
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
                word_spans(code)[0],
            )
            place = (len(self.bars), 0)
        self._settle(*place, self.loose)
        if comment is not None and not (word == "generated" and comment == GENERATED_NOTE):
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
        if self.open is not None or self.bars:
            remedy = "move it above the first bar"
            if word == SOUND:
                remedy += ", or write drums for a row of hits"
            self._problem("header-below", f"{word} stands below a bar", remedy)
            return (len(self.bars), 0)
        row = self.header.row(word)
        self._settle(-1, row, self.header_loose)
        try:
            self.header.read(word, code, self.line)
        except Fault as fault:
            self._problem(fault.code, fault.what, fault.remedy, value_span(code))
        return (-1, row)

    def _bar(self, words: list[str], code: str) -> tuple[int, int]:
        self._close_bar()
        self._settle(-1, _HEADER_END, self.header_loose)
        before = self.bars[-1] if self.bars else None
        try:
            head = read_bar_line(words, before)
        except Fault as fault:
            self._faults([fault], code)
            head = read_bar_line(words[: fault.word], before)
        self.open = _OpenBar(self.line, head)
        return (len(self.bars), 0)

    def _row(self, row: int, words: list[str], code: str) -> tuple[int, int]:
        bar = self.open
        if bar is None:
            what = f"{ROWS[row]} stands outside a bar"
            self._problem("row-outside", what, "write a bar line above it")
            return (len(self.bars), 0)
        if row in bar.rows:
            what = f"bar {bar.head.number} has {ROWS[row]} twice"
            self._problem("twice", what, "take one away, or write a bar line between")
            return (len(self.bars), row)
        faults: list[Fault] = []
        bar.rows[row] = (
            read_hits(words, self.known_hits, faults)
            if row == _DRUMS
            else read_tones(words, faults)
        )
        bar.row_lines[row] = self.line
        self._faults(faults, code)
        return (len(self.bars), row)

    def _faults(self, faults: list[Fault], code: str) -> None:
        spans = word_spans(code) if faults else []
        for fault in faults:
            self._problem(fault.code, fault.what, fault.remedy, spans[fault.word])

    def _close_bar(self) -> None:
        bar = self.open
        if bar is None:
            return
        self.open = None
        steps = self._steps(bar)
        for row, cells in bar.rows.items():
            if len(cells) != steps:
                self._wrong_count(bar, row, len(cells), steps)
        if bar.head.loop is not None:
            self._set_loop(bar.line, bar.head.loop, steps)
        silent: list[int] = []
        _extend(self.voice1, bar.rows.get(1, silent), steps, REST)
        _extend(self.voice2, bar.rows.get(2, silent), steps, REST)
        _extend(self.drums, bar.rows.get(_DRUMS, silent), steps, None)
        self.bars.append(SheetBar(bar.head.number, steps, *bar.head[1:3]))
        lines = bar.row_lines
        self.row_lines.append((bar.line, lines.get(1, 0), lines.get(2, 0), lines.get(_DRUMS, 0)))

    def _steps(self, bar: _OpenBar) -> int:
        """Return how many steps a bar has: as it says, as fill its metre, or as were typed."""
        head = bar.head
        steps = head.steps
        metre = f"{head.numerator}/{head.denominator}"
        typed = max((len(cells) for cells in bar.rows.values()), default=0)
        if steps is None:
            steps = implied_steps(self.header.step, head.numerator, head.denominator)
        if steps is None:
            what = f"steps of {self.header.step} beat don't fill a bar of {metre}"
            remedy = f"write how many it has, such as {metre}   {typed or 4} steps"
        elif 1 <= steps <= MAX_BAR_STEPS:
            return steps
        else:
            what = f"bar {head.number} would have {steps} steps"
            remedy = f"write from 1 to {MAX_BAR_STEPS}"
        self._problem("bar-steps", what, remedy, line=bar.line)
        return min(max(typed, 1), MAX_BAR_STEPS)

    def _wrong_count(self, bar: _OpenBar, row: int, count: int, steps: int) -> None:
        number = bar.row_lines[row]
        code = without_comment(self.lines[number - 1])[0]
        more = count - steps
        self._problem(
            "wrong-steps",
            f"bar {bar.head.number} has {steps} steps, {ROWS[row]} has {count}",
            (f"take {more} away" if more > 0 else f"add {-more}")
            + f", or write {count} steps on the bar line",
            cell_spans(code, row)[steps] if more > 0 else (len(code.rstrip()) + 2, 1),
            line=number,
        )

    def _set_loop(self, line: int, step: int, steps: int) -> None:
        if self.loop is not None:
            what, remedy = "loop stands on two bars", "keep the one to go back to"
            self._problem("twice", what, remedy, line=line)
        elif not 1 <= step <= steps:
            what = f"there is no step {step} in the bar to go back to"
            self._problem("loop", what, f"write loop with a step from 1 to {steps}", line=line)
        else:
            self.loop = len(self.voice1) + step - 1

    def _complete(self) -> None:
        values = self.header.values
        for word in ("engine", "step"):
            if word not in values:
                self._problem("no-" + word, f"has no line {word!r}", "add it to the header", line=1)
        if "tempo" not in values and "length" not in values:
            self._problem("no-tempo", "has no line 'tempo'", WRITE_TEMPO, line=1)
        if not self.bars:
            self._problem("no-bars", "has no bar", "write one: bar 1   4/4", line=1)

    def _digests(self) -> Generated | None:
        """Return what the generated lines say; damaged ones are passed over with a warning."""
        found: list[BarDigest] = []
        header: list[str] | None = None
        for line, words in self.generated:
            whole = all(_DIGEST.fullmatch(word) for word in words[1:])
            if whole and words[:1] == ["header"] and len(words) in (4, 5):
                header = words[1:]
            elif whole and words and is_bar_number(words[0]):
                found.extend(BarDigest(n, word) for n, word in enumerate(words[1:], int(words[0])))
            else:
                self._problem(
                    "digests",
                    "this line was damaged, so some bars count as edited that aren't",
                    "undo the change to it, or take it away",
                    line=line,
                    severity=WARNING,
                )
        if header is None:
            return None
        return Generated(header[0], header[1], header[2], tuple(found), *header[3:])

    def _sheet(self) -> Sheet:
        header = self.header
        values = header.values
        return Sheet(
            title=values.get("title", ""),
            engine=values.get("engine", ""),
            step_beats=header.step,
            bars=tuple(self.bars),
            voice1=tuple(self.voice1),
            voice2=tuple(self.voice2),
            drums=tuple(self.drums),
            sounds=tuple(header.sounds),
            loop_step=self.loop,
            source_file=values.get("source", ""),
            source_sha256=values.get("sha256", ""),
            settings=values.get("settings", ""),
            tempo=header.tempo,
            length=header.length,
            digest=values.get("digest", ""),
            generated=self._digests(),
            comments=tuple(sorted(self.comments, key=lambda c: (c.bar, c.row, c.beside))),
        )

    def _problem(
        self,
        code: str,
        what: str,
        remedy: str,
        place: Span = (1, 1),
        *,
        line: int | None = None,
        severity: str = ERROR,
    ) -> None:
        if len(self.problems) < MOST_PROBLEMS:
            number = self.line if line is None else line
            self.problems.append(Problem(severity, code, number, *place, what, remedy))


def _extend(row: list[Any], cells: Sequence[Any], steps: int, silence: int | None) -> None:
    row.extend(cells[:steps])
    row.extend([silence] * (steps - len(cells)))
