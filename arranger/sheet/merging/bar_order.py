"""Bars of a sheet in another order, cell by cell as they are."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from arranger.sheet.model import joined

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.model import Sheet


def order_of(count: int, standing: Sequence[int]) -> list[int]:
    """Return an order of bars in which some stand as given; others stay behind the one before them.

    >>> order_of(5, [3, 1])
    [0, 3, 4, 1, 2]
    """
    chosen = {*standing}
    first: list[int] = []
    behind: dict[int, list[int]] = {}
    here = first
    for bar in range(count):
        if bar in chosen:
            here = behind[bar] = []
        here.append(bar)
    return [*first, *(bar for key in standing for bar in behind[key])]


def in_order(sheet: Sheet, order: Sequence[int]) -> Sheet:
    """Return the sheet with its bars (indices) in another order.

    A bar that would come before the one that it is as is written out.
    """
    if list(order) == list(range(len(sheet.bars))):
        return sheet
    spans, rows = list(pairwise(sheet.bar_starts)), sheet.bar_rows
    where = {bar: place for place, bar in enumerate(order)}
    steps = [step for bar in order for step in range(*spans[bar])]
    bars = []
    for place, index in enumerate(order):
        bar = sheet.bars[index]
        other = None if bar.as_bar is None else where[bar.as_bar]
        bars.append(bar._replace(as_bar=other if other is not None and other < place else None))
    return replace(
        sheet.with_rows(joined(rows[bar] for bar in order)),
        bars=tuple(bars),
        loop_step=None if sheet.loop_step is None else steps.index(sheet.loop_step),
        comments=tuple(
            sorted(
                (c._replace(bar=where.get(c.bar, c.bar)) for c in sheet.comments),
                key=lambda c: (c.bar, c.row, c.beside),
            )
        ),
    )
