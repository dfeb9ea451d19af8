"""The sheet's own lines, which the page shows beside the roll: the text, and where each bar stands in it."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import one_line
from arranger.report.remember import remembered
from arranger.sheet.form.parse import scan
from arranger.sheet.form.text import format_sheet, laid_out
from arranger.sheet.record.against import edited_rows
from arranger.sheet.record.base import base_of
from arranger.sheet.record.digest import is_edited

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.conversion import Conversion
    from arranger.sheet.form.parse import Scan


class SheetLines(NamedTuple):
    """A sheet's text, bar by bar."""

    file: str
    """The name of its file, without folder."""
    lines: tuple[str, ...]
    """Up to the last line of the last bar."""
    bars: tuple[tuple[int, ...], ...]
    """Of each bar its first and last line, from 1, and the rows that a hand changed (`edited_rows`)."""


@remembered
def is_by_hand(conversion: Conversion) -> bool:
    """Return whether a hand has changed the conversion's sheet."""
    return is_edited(conversion.sheet)


def lines_of(conversion: Conversion) -> SheetLines:
    """Return the lines of a conversion's sheet as they are written beside its report."""
    name = PurePath(conversion.song.file.replace("\\", "/")).stem
    sheet, file = conversion.sheet, f"{name}.duet"
    if is_by_hand(conversion):
        return lines_in(scan(format_sheet(sheet)), file)
    lines, bars = laid_out(sheet)
    return SheetLines(one_line(file), lines[: max(last for _, last in bars)], bars)


def lines_in(found: Scan, file: str, edited: Sequence[tuple[int, ...]] | None = None) -> SheetLines:
    """Return the lines of a text that was read.

    ``found``: what reading it found, no errors.
    ``file``: the name of its file.
    ``edited``: the rows that a hand changed in each bar, if that is known already.
    """
    if edited is None:
        edited = edited_rows(found.sheet, base_of(found.sheet))
    bars = [
        (rows[0], max(rows), *changed)
        for rows, changed in zip(found.row_lines, edited, strict=True)
    ]
    last = max((bar[1] for bar in bars), default=0)
    return SheetLines(one_line(file), tuple(found.lines[:last]), tuple(bars))
