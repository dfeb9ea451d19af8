"""Tidying: a roughly typed sheet is written anew in the one form that the program writes.

Bars whose numbers don't rise are numbered anew, counting on from the first; what is as a bar follows
it. Folding and unfolding (`arranger.sheet.form.fold_repeats`) are done if asked for.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.sheet.form.parse import parse
from arranger.sheet.form.text import format_sheet
from arranger.sheet.io import read_text, write_sheet
from arranger.sheet.record.base import base_of, with_base

if TYPE_CHECKING:
    from arranger.sheet.model import Sheet


class Tidied(NamedTuple):
    """A sheet that was tidied."""

    sheet: Sheet
    told: tuple[str, ...]
    """What was done besides aligning, in words."""


def tidied(sheet: Sheet, *, fold: bool | None = None) -> Tidied:
    """Return a sheet as tidying leaves it.

    ``fold``: whether bars that repeat others are written as those (true) or every bar is written
    out (false); None leaves it as it is.
    """
    sheet, told = _renumbered(sheet)
    if fold is not None:
        from arranger.sheet.form import fold_repeats as folding

        before = sum(bar.as_bar is not None for bar in sheet.bars)
        sheet = folding.fold_repeats(sheet) if fold else folding.unfold(sheet)
        count = sum(bar.as_bar is not None for bar in sheet.bars) - before
        if count:
            bars = f"{abs(count)} bar{'s' if abs(count) > 1 else ''}"
            told.append(f"{bars} written {'as others' if fold else 'out'}")
    return Tidied(sheet, tuple(told))


def tidy_text(text: str, file: str | Path | None = None, *, fold: bool | None = None) -> str:
    """Return a sheet's text with its columns aligned; comments and music stay as they are.

    Raises `SheetError` if the text has an error: what isn't understood isn't rewritten.
    """
    return format_sheet(tidied(parse(text, file), fold=fold).sheet)


def tidy_file(
    path: str | Path, *, write: bool = True, fold: bool | None = None
) -> tuple[str, ...] | None:
    """Tidy a file in its place and return what was done besides aligning, or None if nothing was.

    Raises `SheetError` if it can't be read or has an error; `OutputError` if it can't be written.
    """
    path = Path(path)
    text = read_text(path)
    sheet, told = tidied(parse(text, path), fold=fold)
    if format_sheet(sheet) == text:
        return None
    if write:
        write_sheet(sheet, path, by="tidy")
    return told


def _renumbered(sheet: Sheet) -> tuple[Sheet, list[str]]:
    """Return the sheet with bar numbers that rise, and what was done for it."""
    falling = next(((a, b) for a, b in pairwise(sheet.bars) if b.number <= a.number), None)
    if falling is None:
        return sheet, []
    first = sheet.bars[0].number
    bars = tuple(bar._replace(number=number) for number, bar in enumerate(sheet.bars, first))
    before, after = falling
    told = (
        f"bars numbered anew, {first} to {bars[-1].number}, "
        f"since bar {after.number} came after bar {before.number}"
    )
    numbered = replace(sheet, bars=bars)
    if sheet.generated is not None:  # edits are known by the numbers that a program wrote
        base = base_of(sheet)
        if base.places:
            numbered = with_base(numbered, base.sheet, base.transpose, base.matched, base.keys)
    return numbered, [told]
