"""A sheet cut into bars, with the tones that are held over their lines."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from arranger.rows import tones

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.model import Sheet, SheetBar


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
    voice1: Sequence[int]
    voice2: Sequence[int]
    drums: Sequence[str | None]
    loop: int | None
    """The step of the bar, from 0, to go back to; None: not to this bar."""
    held: Held
    """The pitches that the voices hold when the bar begins."""


def cut(sheet: Sheet) -> list[Bar]:
    """Return the bars of a sheet."""
    held1, held2 = [None, *tones(sheet.voice1)], [None, *tones(sheet.voice2)]
    found: list[Bar] = []
    for head, (start, end) in zip(sheet.bars, pairwise(sheet.bar_starts), strict=True):
        loop = sheet.loop_step
        found.append(
            Bar(
                head=head,
                start=start,
                voice1=sheet.voice1[start:end],
                voice2=sheet.voice2[start:end],
                drums=sheet.drums[start:end],
                loop=loop - start if loop is not None and start <= loop < end else None,
                held=(held1[start], held2[start]),
            )
        )
    return found
