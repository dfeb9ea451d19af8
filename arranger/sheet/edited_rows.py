"""Which rows of a sheet's bars a hand has changed since they were generated."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from arranger.sheet.model import Sheet
    from arranger.sheet.record.base import Base

METRE, VOICE1, VOICE2, DRUMS = range(4)
ALL_OF_BAR = (METRE, VOICE1, VOICE2, DRUMS)


def edited_rows(sheet: Sheet, base: Base) -> list[tuple[int, ...]]:
    """Return for each bar what of it is otherwise than generated: 0 its metre, 1 and 2 the voices, 3 the drums.

    Parameters
    ----------
    sheet
        The sheet.
    base
        What was generated beneath it (`arranger.sheet.record.base.base_of`). Where that isn't known a
        bar counts as changed whole; in a sheet that carries no record at all none does.
    """
    if sheet.generated is None:
        return [()] * len(sheet.bars)
    then, now, was = base.sheet, sheet.bar_rows, base.sheet.bar_rows
    found: list[tuple[int, ...]] = []
    for index, origin in enumerate(base.matched):
        if origin is None or not base.known[origin]:
            found.append(ALL_OF_BAR)
            continue
        metre = () if sheet.bars[index][1:4] == then.bars[origin][1:4] else (METRE,)
        rows = enumerate(zip(now[index], was[origin], strict=True), 1)
        changed = [row for row, (mine, old) in rows if mine != old]
        found.append((*metre, *changed))
    return found
