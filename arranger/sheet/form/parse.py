r"""The sheet's text form: reading, and the grammar.

    sheet     = "arranger-sheet" version NL { header } { bar } { generated }
    header    = ( "title" | "engine" | "source" | "sha256" | "settings" | "digest" ) text NL
              | "step" number [ "/" number ] [ "beat" ] NL
              | "length" number NL
              | "tempo" decimal { word } NL
              | "drum" name ":" part { [ "," ] "then" part } NL
    part      = ( "rest" | ( "kick" | "noise" ) number { number } ) [ "for" decimal "ms" ]
    text      = plain characters without "#" | '"' { character | escape } '"'
    escape    = '\"' | "\\" | "\u{" hexadecimal "}"
    bar       = "bar" [ number ] [ metre ] [ count ] { mark } NL { row }
              | "bar" [ number ] [ metre ] [ count ] "as" number { mark } NL
              | "bars" run "as" run { mark } NL
    count     = number ( "step" | "steps" )
    row       = "voice" ( "1" | "2" ) { cell | "|" } NL | "drums" { hit | "|" } NL
    run       = number "-" number
    mark      = "section" section | "loop" [ number ]
    section   = letter { letter | digit | "-" }
    metre     = number "/" number
    cell      = pitch | "-" | "."
    pitch     = letter [ "#" | "##" | "b" | "bb" ] octave
    hit       = name of a drum sound | "."
    name      = letter { letter | digit | "-" }    a hyphen between two others only
    generated = "generated" "sheet" base64 NL

White space and ``|`` divide and mean nothing else. Cells may be typed together as long as one sees
where each ends: a pitch ends with the digit of its octave, ``-`` and ``.`` are cells by themselves
(``G4---``, ``..B3``, ``C4E4--``); a hyphen between a letter and a digit is of the octave (``C-1``). In
the drum row dots part names (``kick..hat.``), and hyphens belong to names; a drum can't be held.

Blank lines may stand anywhere. A comment goes from a ``#`` at the start of a line or after white
space to the end of the line; it may stand on every line but the first. One on a line of its own
belongs to the line below; straight below a row and with a blank line after it, to the bar above.

A bar without a metre has that of the bar before (at the start 4/4), one without a number counts on.
Without "steps" a bar has as many steps as fill its metre; a row that is left out is silent. ``loop``
marks the step of the bar (from 1) at which the piece goes on after its last step. ``section`` names
what begins here and goes on to the next such mark.

A bar that is ``as`` another plays what that one plays and has its metre; it has no rows of its own.
The number means the last bar above that has it, which may itself be as another. ``bars 9-16 as 1-8``
stands for eight bars, each as the one so far into the other run; a mark on that line is the first
one's. A bar may not be as one below.

A ``drum`` line defines a drum sound of the sheet's own; a part without a length lasts to the end of
the step. What the settings mean is the engine's.

The reader finds every problem in one pass, not only the first: `scan` returns them all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from arranger.errors import SheetError
from arranger.sheet.form.cells import cell_spans
from arranger.sheet.form.lexical import value_span, without_comment
from arranger.sheet.form.lines import LineReader
from arranger.sheet.form.problem import ERROR

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.sheet.form.lexical import Span
    from arranger.sheet.form.problem import SheetProblem
    from arranger.sheet.model import Sheet


@dataclass(slots=True)
class Scan:
    """What reading a text found. The sheet is there whatever the problems, mended to be whole."""

    sheet: Sheet
    problems: list[SheetProblem]
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
    from_lines = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    reader = LineReader(from_lines)
    sheet = reader.read()
    problems = sorted(reader.problems.found, key=lambda problem: (problem.line, problem.column))
    if not any(map(str.strip, from_lines)):
        what, remedy = "is empty", "arranger new writes a sheet to begin with"
        problems = [problems[0]._replace(what=what, remedy=remedy)]
    header = reader.header
    return Scan(
        sheet, problems, reader.blocks.row_lines, header.lines, header.sound_lines, from_lines
    )
