"""The bars of a sheet beside what was generated beneath them: the song's numbers, rows that a hand changed.

Numbers differ from the song's once bars were put in, taken out or moved.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.bars import beside
from arranger.sheet.record.base import base_of

if TYPE_CHECKING:
    from arranger.sheet.model import Sheet
    from arranger.sheet.record.base import Base


def song_numbers(sheet: Sheet) -> list[int | None]:
    """Return for each bar of a sheet the song's number; None for one that a hand put in.

    A sheet that wasn't generated from a song has no numbers but its own.
    """
    numbers = [bar.number for bar in sheet.bars]
    if sheet.generated is None:
        return [*numbers]
    base = base_of(sheet)
    return [None if origin is None else base.sheet.bars[origin].number for origin in base.matched]


def bar_names(sheet: Sheet) -> list[str]:
    """Return for each bar its number as people are told it: "12", or "12 (the song's 10)"."""
    return [
        f"{bar.number}{beside(bar.number, song)}"
        for bar, song in zip(sheet.bars, song_numbers(sheet), strict=True)
    ]


METRE, VOICE1, VOICE2, DRUMS = range(4)
ALL_OF_BAR = (METRE, VOICE1, VOICE2, DRUMS)


def edited_rows(sheet: Sheet, base: Base) -> list[tuple[int, ...]]:
    """Return for each bar what of it is otherwise than generated: 0 its metre, 1 and 2 the voices, 3 the drums.

    ``base``: what was generated beneath it (`arranger.sheet.record.base.base_of`). Where that isn't
    known a bar counts as changed whole; in a sheet that carries no record at all none does.
    """
    if sheet.generated is None:
        return [()] * len(sheet.bars)
    then, now, was = base.sheet, sheet.bar_rows, base.sheet.bar_rows
    found: list[tuple[int, ...]] = []
    for index, origin in enumerate(base.matched):
        if origin is None or not base.known:
            found.append(ALL_OF_BAR)
            continue
        metre = () if sheet.bars[index][1:4] == then.bars[origin][1:4] else (METRE,)
        rows = enumerate(zip(now[index], was[origin], strict=True), 1)
        changed = [row for row, (mine, old) in rows if mine != old]
        found.append((*metre, *changed))
    return found
