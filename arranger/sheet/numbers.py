"""The song's numbers of a sheet's bars, which differ once bars were put in, taken out or moved."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.bars import beside
from arranger.sheet.record.base import base_of

if TYPE_CHECKING:
    from arranger.sheet.model import Sheet


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
