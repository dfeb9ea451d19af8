"""The bars of a sheet, as they are read: bar lines, their rows, bars that are as another one."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from arranger.rows import REST
from arranger.sheet.form.bar_line import BarLine, read_bar_line
from arranger.sheet.form.cells import DRUMS, cell_spans, read_hits, read_tones
from arranger.sheet.form.header_values import UnknownWord
from arranger.sheet.form.lexical import without_comment
from arranger.sheet.form.text import BELOW, ROWS, implied_steps
from arranger.sheet.model import MAX_STEPS, SheetBar

if TYPE_CHECKING:
    from collections.abc import Sequence
    from fractions import Fraction

    from arranger.sheet.form.problem import Problems

MAX_BAR_STEPS = 10_000


@dataclass(slots=True)
class _OpenBar:
    """The bar whose rows are being read."""

    line: int
    head: BarLine
    metre: tuple[int, int]
    rows: dict[int, list[int] | list[str | None]] = field(default_factory=dict)
    row_lines: dict[int, int] = field(default_factory=dict)


class Blocks:
    """Takes in bar lines and rows, and puts the sheet's rows together."""

    def __init__(self, lines: Sequence[str], problems: Problems) -> None:
        self.lines = lines
        self.problems = problems
        self.step: Fraction
        self.bars: list[SheetBar] = []
        self.row_lines: list[tuple[int, int, int, int]] = []
        self.voice1: list[int] = []
        self.voice2: list[int] = []
        self.drums: list[str | None] = []
        self.loop: int | None = None
        self._starts = [0]
        self._indices: dict[int, int] = {}
        self._lowest = self._highest = 0
        self._known_hits: dict[str, str | None] = {".": None}
        self._open: _OpenBar | None = None
        self._copied: BarLine | None = None
        self._rows_told = False

    @property
    def begun(self) -> bool:
        """Whether there was a bar line."""
        return bool(self.bars) or self._open is not None

    @property
    def current(self) -> int | None:
        """The bar (its index) that a row or a comment straight below belongs to."""
        if self._open is not None:
            return len(self.bars)
        return len(self.bars) - 1 if self._copied is not None else None

    @property
    def next_index(self) -> int:
        """The bar (its index) that the next bar line begins."""
        return len(self.bars) + (self._open is not None)

    def begin(self, line: int, words: list[str], code: str, step: Fraction) -> None:
        """Take in a bar line; ``step`` is the share of a beat that the header says."""
        self.close()
        self.step = step
        before = self.bars[-1] if self.bars else None
        try:
            head = read_bar_line(words, before)
        except UnknownWord as fault:
            self.problems.faults([fault], code)
            head = _mended(words[: fault.word], before)
        if head.named is None or not self._copy(line, head):
            metre = head.metre or ((4, 4) if before is None else before[2:4])
            self._open = _OpenBar(line, head, metre)

    def row(self, row: int, line: int, words: list[str], code: str) -> tuple[int, int]:
        """Take in a row (1..3) and return the place of its comments."""
        bar = self._open
        if bar is None:
            return self._stray_row(row)
        if row in bar.rows:
            what = f"bar {bar.head.number} has {ROWS[row]} twice"
            self.problems.add("twice", what, "take one away, or write a bar line between")
            return (len(self.bars), row)
        faults: list[UnknownWord] = []
        bar.rows[row] = (
            read_hits(words, self._known_hits, faults)
            if row == DRUMS
            else read_tones(words, faults)
        )
        bar.row_lines[row] = line
        self.problems.faults(faults, code)
        return (len(self.bars), row)

    def close(self) -> None:
        """End the bar whose rows were being read."""
        bar, self._open, self._copied = self._open, None, None
        if bar is None:
            return
        head = bar.head
        steps = self._steps(bar)
        for row, cells in bar.rows.items():
            if len(cells) != steps:
                self._wrong_count(bar, row, len(cells), steps)
        self._set_loop(bar.line, head.loop, steps)
        silent: list[int] = []
        _extend(self.voice1, bar.rows.get(1, silent), steps, REST)
        _extend(self.voice2, bar.rows.get(2, silent), steps, REST)
        _extend(self.drums, bar.rows.get(DRUMS, silent), steps, None)
        lines = bar.row_lines
        places = (bar.line, lines.get(1, 0), lines.get(2, 0), lines.get(DRUMS, 0))
        self._append(SheetBar(head.number, steps, *bar.metre, None, head.section), places)

    def _append(self, bar: SheetBar, lines: tuple[int, int, int, int]) -> None:
        first = not self.bars
        self._lowest = bar.number if first else min(bar.number, self._lowest)
        self._highest = bar.number if first else max(bar.number, self._highest)
        self._indices[bar.number] = len(self.bars)
        self.bars.append(bar)
        self.row_lines.append(lines)
        self._starts.append(len(self.voice1))

    def _stray_row(self, row: int) -> tuple[int, int]:
        """Tell of a row that has no bar to stand in, once a bar line."""
        head = self._copied
        if head is None:
            what = f"{ROWS[row]} stands outside a bar"
            self.problems.add("row-outside", what, "write a bar line above it")
            return (len(self.bars), 0)
        if not self._rows_told:
            self._rows_told = True
            self.problems.add(
                "as-rows",
                f"{head} as {head.named_text}, so no row stands below",
                f"take as {head.named_text} away and write all its rows, or take the rows away "
                "(then arranger tidy --unfold writes it out)",
            )
        return (len(self.bars) - 1, BELOW)

    def _copy(self, line: int, head: BarLine) -> bool:
        """Take in bars that are as others; false if not even the first of those is above."""
        first = (head.named or (0, 0))[0]
        for offset in range(head.last - head.number + 1):
            source = self._indices.get(first + offset)
            if source is None:
                self._not_above(first + offset)
                return offset > 0
            bar = self.bars[source]
            if offset == 0:
                self._set_loop(line, head.loop, bar.steps)
            self._compare(head, head.number + offset, bar)
            start, end = self._starts[source], self._starts[source + 1]
            self.voice1 += self.voice1[start:end]
            self.voice2 += self.voice2[start:end]
            self.drums += self.drums[start:end]
            section = "" if offset else head.section
            copy = SheetBar(head.number + offset, *bar[1:4], source, section)
            self._append(copy, (line, 0, 0, 0))
            self._copied, self._rows_told = head, False
            if len(self.voice1) > MAX_STEPS:
                break
        return True

    def _not_above(self, number: int) -> None:
        remedy = "write the bar's rows below, since it has no bar above it"
        if self.bars:
            lowest, highest = self._lowest, self._highest
            above = f"bar {lowest}" if lowest == highest else f"bars {lowest} to {highest}"
            remedy = f"name one that is: above stand{'s' * (lowest == highest)} {above}"
        self.problems.add("as-bar", f"there is no bar {number} above to be as", remedy)

    def _compare(self, head: BarLine, number: int, other: SheetBar) -> None:
        """Tell of a metre or of steps on the line that the bar named doesn't have."""
        if head.metre not in (None, other[2:4]):
            self.problems.add(
                "as-metre",
                f"bar {number} is as bar {other.number}, which is in "
                f"{other.numerator}/{other.denominator}",
                f"write {other.numerator}/{other.denominator}, or no metre",
            )
        if head.steps not in (None, other.steps):
            self.problems.add(
                "as-steps",
                f"bar {number} is as bar {other.number}, which has {other.steps} steps",
                f"write {other.steps} steps, or none",
            )

    def _steps(self, bar: _OpenBar) -> int:
        """Return how many steps a bar has: as it says, as fill its metre, or as were typed."""
        steps = bar.head.steps
        metre = f"{bar.metre[0]}/{bar.metre[1]}"
        typed = max((len(cells) for cells in bar.rows.values()), default=0)
        if steps is None:
            steps = implied_steps(self.step, *bar.metre)
        if steps is None:
            what = f"steps of {self.step} beat don't fill a bar of {metre}"
            remedy = f"write how many it has, such as {metre}   {typed or 4} steps"
        elif 1 <= steps <= MAX_BAR_STEPS:
            return steps
        else:
            what = f"bar {bar.head.number} would have {steps} steps"
            remedy = f"write from 1 to {MAX_BAR_STEPS}"
        self.problems.add("bar-steps", what, remedy, line=bar.line)
        return min(max(typed, 1), MAX_BAR_STEPS)

    def _wrong_count(self, bar: _OpenBar, row: int, count: int, steps: int) -> None:
        number = bar.row_lines[row]
        code = without_comment(self.lines[number - 1])[0]
        more = count - steps
        self.problems.add(
            "wrong-steps",
            f"bar {bar.head.number} has {steps} steps, {ROWS[row]} has {count}",
            (f"take {more} away" if more > 0 else f"add {-more}")
            + f", or write {count} steps on the bar line",
            cell_spans(code, row)[steps] if more > 0 else (len(code.rstrip()) + 2, 1),
            line=number,
        )

    def _set_loop(self, line: int, step: int | None, steps: int) -> None:
        if step is None:
            return
        if self.loop is not None:
            what, remedy = "loop stands on two bars", "keep the one to go back to"
            self.problems.add("twice", what, remedy, line=line)
        elif not 1 <= step <= steps:
            what = f"there is no step {step} in the bar to go back to"
            self.problems.add("loop", what, f"write loop with a step from 1 to {steps}", line=line)
        else:
            self.loop = len(self.voice1) + step - 1


def _mended(words: list[str], before: SheetBar | None) -> BarLine:
    """Return what the words before a fault say, or nothing but the bar itself."""
    try:
        return read_bar_line(words, before)
    except UnknownWord:
        return read_bar_line(["bar"], before)


def _extend(row: list[Any], cells: Sequence[Any], steps: int, silence: int | None) -> None:
    row.extend(cells[:steps])
    row.extend([silence] * (steps - len(cells)))
