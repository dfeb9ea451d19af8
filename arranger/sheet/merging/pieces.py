"""A sheet cut into bars, with the tones that are held over their lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from arranger.rows import tones

if TYPE_CHECKING:
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
class Bar:
    """A bar cut out of a sheet."""

    head: SheetBar
    start: int
    """Its first step."""
    rows: Rows
    loop: int | None
    """The step of the bar, from 0, to go back to; None: not to this bar."""
    held: Held
    """The pitches that the voices hold when the bar begins."""


def cut(sheet: Sheet) -> list[Bar]:
    """Return the bars of a sheet."""
    held = list(zip([None, *tones(sheet.voice1)], [None, *tones(sheet.voice2)], strict=True))
    starts = sheet.bar_starts[:-1]
    pieces = zip(sheet.bars, starts, sheet.bar_rows, sheet.bar_loops, strict=True)
    return [Bar(head, start, rows, loop, held[start]) for head, start, rows, loop in pieces]
