"""Writing a changed sheet into the text that it was read from: what didn't change stays as it was typed.

Rows whose cells are otherwise are written anew, by the writer's own rules; where the bar was typed in
another layout only the cells that changed are, so that its columns stay. A bar that is written out now,
or had no such row, is written anew whole. If the text doesn't read back as the sheet after that, all
rows that changed are written anew, and in the last resort the sheet. So it always says what the sheet is.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SheetError
from arranger.sheet.form.lexical import without_comment
from arranger.sheet.form.parse import parse, scan
from arranger.sheet.form.text import ROWS, VOICE_WORDS, format_sheet, group_steps, rows_text

if TYPE_CHECKING:
    from arranger.sheet.form.parse import Scan
    from arranger.sheet.model import Sheet


class _Piece(NamedTuple):
    """Lines that take the place of others, counted from 0."""

    first: int
    end: int
    lines: list[str]


def written_into(text: str, sheet: Sheet) -> str:
    """Return a text that reads as a sheet, with as much of another text left as can be.

    Parameters
    ----------
    text
        What the sheet was read from before it was changed; no errors in it.
    sheet
        The changed one. Header, comments and the order of bars are those of the text.
    """
    found = scan(text)
    whole = format_sheet(sheet)
    if len(found.sheet.bars) == len(sheet.bars) and found.sheet.bar_starts == sheet.bar_starts:
        ending = "\r\n" if "\r\n" in text else "\n"
        for anew in (False, True):
            now = ending.join(_lines(found, sheet, scan(whole), anew=anew))
            if _reads_as(now, sheet):
                return now
    return whole


def _reads_as(text: str, sheet: Sheet) -> bool:
    try:
        return parse(text) == sheet
    except SheetError:
        return False


def _lines(found: Scan, sheet: Sheet, written: Scan, *, anew: bool) -> list[str]:
    before, lines = found.sheet, list(found.lines)
    pieces: list[_Piece] = []
    for bar, (start, end) in enumerate(pairwise(sheet.bar_starts)):
        was, now = _rows(before, start, end), _rows(sheet, start, end)
        same = before.bars[bar] == sheet.bars[bar]
        if (was == now and same) or (same and sheet.bars[bar].as_bar is not None):
            continue
        if not same or 0 in found.row_lines[bar]:
            pieces.append(_block(found, written, bar))
        else:
            pieces += _changed_rows(found, sheet, bar, anew=anew)
    for piece in sorted(pieces, reverse=True):
        lines[piece.first : piece.end] = piece.lines
    return lines


def _rows(sheet: Sheet, start: int, end: int) -> tuple[object, ...]:
    return sheet.voice1[start:end], sheet.voice2[start:end], sheet.drums[start:end]


def _block(found: Scan, written: Scan, bar: int) -> _Piece:
    """Return a whole bar as the writer writes it."""
    old, new = found.row_lines[bar], written.row_lines[bar]
    return _Piece(old[0] - 1, max(old), written.lines[new[0] - 1 : max(new)])


def _changed_rows(found: Scan, sheet: Sheet, bar: int, *, anew: bool) -> list[_Piece]:
    pieces = []
    typed = _typed(found.sheet, bar), _typed(sheet, bar)
    for row, (was, now) in enumerate(zip(*typed, strict=True), 1):
        if was != now:
            at = found.row_lines[bar][row] - 1
            code, comment = without_comment(found.lines[at])
            if anew or code.rstrip() == was:
                line = now if comment is None else f"{now}   # {comment}".rstrip()
            else:
                line = _with_cells(found, sheet, bar, row) + found.lines[at][len(code) :]
            pieces.append(_Piece(at, at + 1, [line]))
    return pieces


def _typed(sheet: Sheet, bar: int) -> list[str]:
    """Return the lines of a bar's rows as the writer writes them."""
    head, (start, end) = sheet.bars[bar], sheet.bar_starts[bar : bar + 2]
    group = group_steps(sheet.step_beats, head.numerator, head.denominator)
    cells = rows_text(
        sheet.voice1[start:end], sheet.voice2[start:end], sheet.drums[start:end], group
    )
    return [f"  {ROWS[row]:<10}{text}" for row, text in enumerate(cells, 1)]


def _with_cells(found: Scan, sheet: Sheet, bar: int, row: int) -> str:
    """Return a row as it was typed, with words in place of the cells that changed."""
    code, _ = without_comment(found.lines[found.row_lines[bar][row] - 1])
    _, spans = found.row_place(bar, row)
    old, new = _words(found.sheet, bar, row), _words(sheet, bar, row)
    for (column, width), was, now in reversed(list(zip(spans, old, new, strict=False))):
        if was != now:
            code = _with_word(code, column - 1, width, now)
    return code


def _words(sheet: Sheet, bar: int, row: int) -> list[str]:
    start, end = sheet.bar_starts[bar : bar + 2]
    if ROWS[row] == "drums":
        return [cell or "." for cell in sheet.drums[start:end]]
    cells = (sheet.voice1, sheet.voice2)[row - 1][start:end]
    return [VOICE_WORDS[cell] for cell in cells]


def _with_word(code: str, at: int, width: int, word: str) -> str:
    """Return a line with a word in place of another, blanks behind it taken or left for it."""
    behind = code[at + width :]
    blanks = len(behind) - len(behind.lstrip(" "))
    if not behind.strip():
        return code[:at] + word + behind
    more = len(word) - width
    if more >= 0:
        return code[:at] + word + behind[min(more, max(blanks - 1, 0)) :]
    return code[:at] + word + " " * (-more if blanks else 0) + behind
