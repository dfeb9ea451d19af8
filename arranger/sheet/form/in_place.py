"""Writing a changed sheet into the text that it was read from: what didn't change stays as it was typed.

Rows whose cells are otherwise are written anew, by the writer's own rules; where the bar was typed in
another layout only the cells that changed are, if the row can be read so, and its columns stay. A bar
that is written out now, or had no such row, is written anew whole. If the text doesn't read back as the
sheet after that the whole sheet is written anew. So it always says what the sheet is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SheetError
from arranger.pitch import parse_pitch
from arranger.sheet.form.cells import cell_spans
from arranger.sheet.form.lexical import without_comment
from arranger.sheet.form.parse import parse, scan
from arranger.sheet.form.text import BELOW, ROWS, VOICE_WORDS, bar_text, format_sheet

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

    ``text``: what the sheet was read from before it was changed; no errors in it.
    ``sheet``: the changed one. Header, comments and the order of bars are those of the text.
    """
    found = scan(text)
    whole = format_sheet(sheet)
    if len(found.sheet.bars) == len(sheet.bars) and found.sheet.bar_starts == sheet.bar_starts:
        ending = "\r\n" if "\r\n" in text else "\n"
        now = ending.join(_lines(found, sheet, scan(whole)))
        if _reads_as(now, sheet):
            return now
    return whole


def _reads_as(text: str, sheet: Sheet) -> bool:
    try:
        return parse(text) == sheet
    except SheetError:
        return False


def _lines(found: Scan, sheet: Sheet, written: Scan) -> list[str]:
    before, lines = found.sheet, list(found.lines)
    pieces: list[_Piece] = []
    for bar, (was, now) in enumerate(zip(before.bar_rows, sheet.bar_rows, strict=True)):
        same = before.bars[bar] == sheet.bars[bar]
        if (was == now and same) or (same and sheet.bars[bar].as_bar is not None):
            continue
        changed = [row for row, (a, b) in enumerate(zip(was, now, strict=True), 1) if a != b]
        if not same or any(found.row_lines[bar][row] == 0 for row in changed):
            pieces.append(_block(found, written, bar))
        else:
            pieces += [
                _row(found, sheet, bar, row, changed=row in changed)
                for row in range(1, BELOW)
                if found.row_lines[bar][row]
            ]
    for piece in sorted(pieces, reverse=True):
        lines[piece.first : piece.end] = piece.lines
    return lines


def _block(found: Scan, written: Scan, bar: int) -> _Piece:
    """Return a whole bar as the writer writes it."""
    old, new = found.row_lines[bar], written.row_lines[bar]
    return _Piece(old[0] - 1, max(old), written.lines[new[0] - 1 : max(new)])


def _row(found: Scan, sheet: Sheet, bar: int, row: int, *, changed: bool) -> _Piece:
    """Return a row's line; one whose cells stay may still need wider columns."""
    at = found.row_lines[bar][row] - 1
    line = found.lines[at]
    code, comment = without_comment(line)
    if code.rstrip() != _typed(found.sheet, bar, row):
        mine = _with_cells(found, sheet, bar, row) if changed else code
        if mine is not None:
            return _Piece(at, at + 1, [mine + line[len(code) :]])
    now = _typed(sheet, bar, row)
    return _Piece(at, at + 1, [now if comment is None else f"{now}   # {comment}".rstrip()])


def _typed(sheet: Sheet, bar: int, row: int) -> str:
    """Return the line of a bar's row as the writer writes it."""
    return f"  {ROWS[row]:<10}{bar_text(sheet, bar)[row - 1]}"


def _with_cells(found: Scan, sheet: Sheet, bar: int, row: int) -> str | None:
    """Return a row as it was typed, with words in place of the cells that changed.

    None where that would be read otherwise.
    """
    code, _ = without_comment(found.lines[found.row_lines[bar][row] - 1])
    _, spans = found.row_place(bar, row)
    old, new = _words(found.sheet, bar, row), _words(sheet, bar, row)
    for (column, width), was, now in reversed(list(zip(spans, old, new, strict=False))):
        if was != now:
            code = _with_word(code, column - 1, width, now)
    typed = [code[column - 1 : column - 1 + width] for column, width in cell_spans(code, row)]
    return code if [_said(word) for word in typed] == [_said(word) for word in new] else None


def _said(word: str) -> object:
    """Return what a word of a row says: a pitch may be spelled in several ways."""
    try:
        return parse_pitch(word)
    except ValueError:
        return word.lower()


def _words(sheet: Sheet, bar: int, row: int) -> list[str]:
    voice1, voice2, drums = sheet.between(*sheet.bar_starts[bar : bar + 2])
    if ROWS[row] == "drums":
        return [cell or "." for cell in drums]
    return [VOICE_WORDS[cell] for cell in (voice1, voice2)[row - 1]]


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
