"""The record of what was generated, when bars move: it moves with them.

So a bar that moved is known for what it was, and takes part in the next conversion: only what a hand
changed in it is an edit. The record keeps the song's numbers. Bars that were taken out stay behind the bar that was before
them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.sheet.align import match_bars
from arranger.sheet.digest import bar_digests

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.model import Generated, Sheet


def record_moved(sheet: Sheet, order: Sequence[int]) -> Generated | None:
    """Return the record of a sheet whose bars were put into another order.

    Parameters
    ----------
    sheet
        The sheet before.
    order
        Its bars (indices) as they stand now.
    """
    record = sheet.generated
    if record is None:
        return None
    numbers = [bar.number for bar in sheet.bars]
    matched = match_bars(record.bars, bar_digests(sheet), numbers)
    known = {origin for origin in matched if origin is not None}
    before: list[int] = []
    behind: dict[int, list[int]] = {}
    here = before
    for origin in range(len(record.bars)):
        if origin in known:
            here = behind[origin] = []
        here.append(origin)
    moved = [*before]
    for key in order:
        found = matched[key]
        if found is not None:
            moved += behind[found]
    return record._replace(bars=tuple(record.bars[origin] for origin in moved))
