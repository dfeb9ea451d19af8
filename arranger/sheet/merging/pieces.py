"""A sheet cut into bars, with the tones that are held over their lines; bars in another order."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from arranger.rows import tones
from arranger.sheet.model import joined_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.model import Rows, Sheet, SheetBar


WHOLE = -1


class Conflict(NamedTuple):
    """A place where the hand and the conversion disagree. The hand's version was kept."""

    bar: int | None
    """The bar's number as people count; None for the header, `WHOLE` for the whole sheet."""
    what: str

    def __str__(self) -> str:
        places = {None: "the header", WHOLE: "the sheet"}
        return f"{places.get(self.bar, f'bar {self.bar}')}: {self.what}"


Held = tuple[int | None, int | None]


@dataclass(frozen=True, slots=True)
class BarPiece:
    """A bar cut out of a sheet."""

    head: SheetBar
    start: int
    """Its first step."""
    rows: Rows
    loop: int | None
    """The step of the bar, from 0, to go back to; None: not to this bar."""
    held: Held
    """The pitches that the voices hold when the bar begins."""


def cut_into_bars(sheet: Sheet) -> list[BarPiece]:
    """Return the bars of a sheet."""
    held = list(zip([None, *tones(sheet.voice1)], [None, *tones(sheet.voice2)], strict=True))
    starts = sheet.bar_starts[:-1]
    pieces = zip(sheet.bars, starts, sheet.bar_rows, sheet.bar_loops, strict=True)
    return [BarPiece(head, start, rows, loop, held[start]) for head, start, rows, loop in pieces]


def all_in_order(count: int, standing: Sequence[int]) -> list[int]:
    """Return an order of bars in which some stand as given; others stay behind the one before them.

    >>> all_in_order(5, [3, 1])
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
        sheet.with_rows(joined_rows(rows[bar] for bar in order)),
        bars=tuple(bars),
        loop_step=None if sheet.loop_step is None else steps.index(sheet.loop_step),
        comments=tuple(
            sorted(
                (c._replace(bar=where.get(c.bar, c.bar)) for c in sheet.comments),
                key=lambda c: (c.bar, c.row, c.beside),
            )
        ),
    )
