"""Bars that are as another one: what has to hold of them, and how a text can name them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.model import Sheet, SheetBar


def written_out(bars: Sequence[SheetBar]) -> tuple[SheetBar, ...]:
    """Return bars of which none is as another one."""
    return tuple(bar if bar.as_bar is None else bar._replace(as_bar=None) for bar in bars)


def unlike(sheet: Sheet) -> list[int]:
    """Return the bars (their indices) that aren't what the bar is that they should be as."""
    if all(bar.as_bar is None for bar in sheet.bars):
        return []
    rows = sheet.bar_rows
    found: list[int] = []
    for index, bar in enumerate(sheet.bars):
        other = bar.as_bar
        if other is None:
            continue
        same = 0 <= other < index and bar[1:4] == sheet.bars[other][1:4]
        if not same or rows[index] != rows[other]:
            found.append(index)
    return found


def settled(sheet: Sheet) -> Sheet:
    """Return the sheet with those bars written out that aren't as the bar that they name."""
    wrong = unlike(sheet)
    if not wrong:
        return sheet
    bars = list(sheet.bars)
    for index in wrong:
        bars[index] = bars[index]._replace(as_bar=None)
    return replace(sheet, bars=tuple(bars))


def roots(bars: Sequence[SheetBar]) -> list[int]:
    """Return for each bar the one (its index) where its rows are written out.

    >>> from arranger.sheet.model import SheetBar
    >>> roots([SheetBar(1, 4, 4, 4), SheetBar(2, 4, 4, 4, 0), SheetBar(3, 4, 4, 4, 1)])
    [0, 0, 0]
    """
    found: list[int] = []
    for index, bar in enumerate(bars):
        found.append(index if bar.as_bar is None else found[bar.as_bar])
    return found


def as_numbers(bars: Sequence[SheetBar]) -> list[int | None]:
    """Return for each bar the number by which a text says what it is as.

    None where it is written out: also where another bar above has that number and stands nearer.
    """
    last: dict[int, int] = {}
    found: list[int | None] = []
    for index, bar in enumerate(bars):
        number = None if bar.as_bar is None else bars[bar.as_bar].number
        found.append(number if number is not None and last.get(number) == bar.as_bar else None)
        last[bar.number] = index
    return found
