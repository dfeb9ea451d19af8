"""Problems found in a sheet: where, what, and what to do about it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import one_line
from arranger.sheet.form.lexical import word_spans

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from arranger.sheet.form.header_values import UnknownWord
    from arranger.sheet.form.lexical import Span

_WIDTH = 100
MOST_PROBLEMS = 10_000
"""More aren't listed."""
ERROR = "error"
WARNING = "warning"


class SheetProblem(NamedTuple):
    """One problem. Lines and columns are counted from 1, columns in characters."""

    severity: str
    """`ERROR`: it can't be played as written. `WARNING`: it can, but perhaps isn't meant so."""
    code: str
    """A short fixed name, for scripts: "unknown-pitch"."""
    line: int
    column: int
    width: int
    """How many characters it concerns; at least 1."""
    what: str
    remedy: str

    @property
    def place(self) -> str:
        """The place in words."""
        return f"line {self.line}, column {self.column}"


class Problems:
    """Problems as they are found; more than `MOST_PROBLEMS` aren't listed."""

    def __init__(self) -> None:
        self.found: list[SheetProblem] = []
        self.line = 0
        """The number of the line that is being read."""

    def add(
        self,
        code: str,
        what: str,
        remedy: str,
        place: Span = (1, 1),
        *,
        line: int | None = None,
        severity: str = ERROR,
    ) -> None:
        """List a problem, at the line that is being read unless another is given."""
        if len(self.found) < MOST_PROBLEMS:
            number = self.line if line is None else line
            self.found.append(SheetProblem(severity, code, number, *place, what, remedy))

    def faults(self, faults: Iterable[UnknownWord], code: str) -> None:
        """List what is wrong with words of the line that is being read."""
        spans = word_spans(code) if faults else []
        for fault in faults:
            column, width = spans[fault.word]
            place = (column + fault.at, fault.width or width)
            self.add(fault.code, fault.what, fault.remedy, place)


def shown(problem: SheetProblem, file: str, lines: Sequence[str]) -> str:
    """Return a problem as four lines: place and fault, the line, a caret under it, what to do.

    ``file``: the file's name as the user gave it.
    ``lines``: the file's lines.
    """
    head = one_line(f"{file}:{problem.line}:{problem.column}: {problem.severity}: {problem.what}")
    text, column = _window(lines[problem.line - 1], problem.column - 1)
    before = "".join(c if c == "\t" else " " for c in text[:column])
    carets = "^" * max(1, min(problem.width, len(text) - column))
    return f"{head}\n    {text}\n    {before}{carets}\n    {one_line(problem.remedy)}"


def problem_json(problem: SheetProblem) -> dict[str, str | int]:
    """Return a problem as JSON can hold it."""
    return problem._asdict()


def _window(line: str, column: int) -> tuple[str, int]:
    """Return the part of a long line that is around a column, printable, and the column in it."""
    start = 0 if column < _WIDTH - 20 else column - _WIDTH // 2
    part = line[start : start + _WIDTH]
    return "".join(c if c.isprintable() or c == "\t" else "\ufffd" for c in part), column - start
