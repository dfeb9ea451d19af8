"""An edit made once: bars that were generated alike get the edit that one of them was given.

The digests of the bars as generated tell which bars were alike (a repeated section, a refrain) and
which of them a hand has changed since. Where the changed ones agree, the others of their kind take
the change; where they differ, the hand meant them to, and nothing is done.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from arranger.errors import SheetError
from arranger.sheet.align import match_bars
from arranger.sheet.digest import bar_digests

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.model import Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """A sheet in which edits were spread, and what was done. Bars are indices into its bars."""

    sheet: Sheet
    copied: tuple[tuple[int, tuple[int, ...]], ...]
    """An edited bar, and the bars that now play what it plays."""
    differing: tuple[tuple[int, ...], ...]
    """Bars that were alike and were edited in different ways; left as they are."""


def spread_edits(sheet: Sheet) -> Spread:
    """Return the sheet with each edit in all bars that were generated like the edited one.

    Raises
    ------
    SheetError
        If the sheet wasn't generated, so that nothing is known of its bars.
    """
    if sheet.generated is None:
        raise SheetError(
            "has no record of what was generated",
            remedy="edits can be spread only in a sheet that was converted from a song",
        )
    now = bar_digests(sheet)
    base = [bar.digest for bar in sheet.generated.bars]
    matched = match_bars(sheet.generated.bars, now, [bar.number for bar in sheet.bars])
    kinds: dict[tuple[str, int], list[int]] = {}
    for bar, origin in enumerate(matched):
        if origin is not None:
            kinds.setdefault((base[origin], sheet.bars[bar].steps), []).append(bar)
    copied: list[tuple[int, tuple[int, ...]]] = []
    differing: list[tuple[int, ...]] = []
    for (digest, _), bars in kinds.items():
        edited = {now[bar]: bar for bar in reversed(bars) if now[bar] != digest}
        alike = tuple(bar for bar in bars if now[bar] == digest)
        if len(edited) > 1:
            differing.append(tuple(sorted(edited.values())))
        elif edited and alike:
            copied.append((next(iter(edited.values())), alike))
    return Spread(
        sheet=_copied(sheet, copied),
        copied=tuple(sorted(copied)),
        differing=tuple(sorted(differing)),
    )


def _copied(sheet: Sheet, copies: Sequence[tuple[int, tuple[int, ...]]]) -> Sheet:
    starts = [0]
    for bar in sheet.bars:
        starts.append(starts[-1] + bar.steps)
    voice1, voice2, drums = list(sheet.voice1), list(sheet.voice2), list(sheet.drums)
    for source, targets in copies:
        content = slice(starts[source], starts[source + 1])
        for target in targets:
            place = slice(starts[target], starts[target + 1])
            voice1[place] = sheet.voice1[content]
            voice2[place] = sheet.voice2[content]
            drums[place] = sheet.drums[content]
    return replace(sheet, voice1=tuple(voice1), voice2=tuple(voice2), drums=tuple(drums))
