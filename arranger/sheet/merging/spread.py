"""An edit made once: bars that were generated alike get the edit that one of them was given.

The record of what was generated (`arranger.sheet.record.base`) tells which bars were alike (a repeated
section, a refrain) and what a hand has changed in them since. Each row goes for itself: an edit of the
drums reaches the others without the voices. Where the changed rows agree, the others of their kind
take the change; where they differ, the hand meant them to, and nothing is done.

Only what bars play is spread, not marks. A bar is an edit of a generated one only if its number is as
far from that one's as those of the bars around, and it stands where no bar was put in or taken out:
else it is new. A bar that isn't named sounds as before: where it began by holding a tone that the bar
before no longer leaves, it starts that tone itself.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SheetError
from arranger.rows import HOLD, REST, tones
from arranger.sheet.form.as_bars import settled
from arranger.sheet.merging.pieces import cut_into_bars
from arranger.sheet.model import joined_rows
from arranger.sheet.record.base import base_of, with_base_bars

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.rows import Row
    from arranger.sheet.merging.pieces import BarPiece
    from arranger.sheet.model import Rows, Sheet
    from arranger.sheet.record.base import Base

ROWS = ("voice1", "voice2", "drums")
"""The rows of a bar in order."""


class Copied(NamedTuple):
    """A row that was spread. Bars are indices into the sheet's bars."""

    source: int
    targets: tuple[int, ...]
    row: str
    """One of `ROWS`."""


class UnlikeBars(NamedTuple):
    """Bars of which a row was alike and was edited in different ways; one for each way."""

    bars: tuple[int, ...]
    row: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """A sheet in which edits were spread, and what was done."""

    sheet: Sheet
    copied: tuple[Copied, ...]
    differing: tuple[UnlikeBars, ...]


def spread_edits(sheet: Sheet, row: str | None = None) -> Spread:
    """Return the sheet with each edit in all bars that were generated like the edited one.

    ``row``: one of `ROWS`: spread only this one, to all bars in which it was alike, whatever the
    others are. None: to bars that were alike in all three.

    Raises `SheetError` if the sheet wasn't generated, so that nothing is known of its bars.
    """
    if sheet.generated is None:
        raise SheetError(
            "has no record of what was generated",
            remedy="spread is for sheets that were converted from a song; here let a bar be as "
            "another (bar 9   as 1), or copy bars with arranger bars",
        )
    base = base_of(sheet)
    bars, then = cut_into_bars(sheet), cut_into_bars(base.sheet)
    pairs = _edits_and_others(base, bars, then)
    copied: list[Copied] = []
    differing: list[UnlikeBars] = []
    for name in ROWS if row is None else (row,):
        at = ROWS.index(name)
        kinds: dict[object, dict[object, list[int]]] = {}
        for place, origin in pairs:
            was = then[origin].rows[at]
            alike = (*then[origin].head[1:4], was) if row else (base.contents[origin], was)
            kind = kinds.setdefault((alike, bars[place].head.steps), {})
            now = bars[place].rows[at]
            kind.setdefault(None if now == was else now, []).append(place)
        for kind in kinds.values():
            others = kind.pop(None, None)
            if len(kind) > 1:
                differing.append(UnlikeBars(tuple(sorted(j[0] for j in kind.values())), name))
            elif kind and others:
                copied.append(Copied(next(iter(kind.values()))[0], tuple(others), name))
    return Spread(
        sheet=_copied(sheet, base, bars, then, copied),
        copied=tuple(sorted(copied)),
        differing=tuple(sorted(differing)),
    )


def _edits_and_others(
    base: Base, bars: Sequence[BarPiece], then: Sequence[BarPiece]
) -> list[tuple[int, int]]:
    """Return the bars that are as generated or edits of generated ones, each with that one."""
    pairs = [(j, i) for j, i in enumerate(base.matched) if i is not None and base.known]
    as_they_were = [(j, i) for j, i in pairs if bars[j].rows == then[i].rows]
    fixed = [(-1, -1), *as_they_were, (len(bars), len(then))]
    found = []
    for place, origin in pairs:
        after = bisect_left(fixed, (place, origin))
        if fixed[after] != (place, origin):
            around = fixed[after - 1 : after + 1]
            in_place = all(j - place == i - origin for j, i in around)
            apart = [
                bars[j].head.number - then[i].head.number for j, i in around if 0 <= j < len(bars)
            ]
            if not in_place or bars[place].head.number - then[origin].head.number not in (
                apart or [0]
            ):
                continue
        found.append((place, origin))
    return found


def _copied(
    sheet: Sheet,
    base: Base,
    bars: Sequence[BarPiece],
    then: Sequence[BarPiece],
    copies: Sequence[Copied],
) -> Sheet:
    sources = {(target, row): source for source, targets, row in copies for target in targets}
    after: list[Rows] = []
    for place in range(len(bars)):
        one, two, three = (bars[sources.get((place, name), place)].rows for name in ROWS)
        after.append((one[0], two[1], three[2]))
    after = _with_starts(after, bars, sources)
    taken: dict[int, Rows] = {}
    for place, (bar, now, origin) in enumerate(zip(bars, after, base.matched, strict=True)):
        # A bar that now starts the tone which it held is no edit, or it would be spread next time.
        if origin is None or not base.known:
            continue
        was = then[origin].rows
        one, two, three = (
            was if (place, name) in sources or row != generated else now
            for name, row, generated in zip(ROWS, bar.rows, was, strict=True)
        )
        rows = one[0], two[1], three[2]
        if rows != was:
            taken[origin] = rows
    spread = settled(sheet.with_rows(joined_rows(after)))
    return with_base_bars(spread, base, taken) if taken else spread


def _with_starts(
    after: Sequence[Rows], before: Sequence[BarPiece], sources: dict[tuple[int, str], int]
) -> list[Rows]:
    """Return bars that start the tone which they held, where the bar before no longer leaves it."""
    found: list[Rows] = []
    held: list[int | None] = [None, None]
    for place, rows in enumerate(after):
        voices: list[Row] = []
        for voice, cells in enumerate(rows[:2]):
            meant = before[sources.get((place, ROWS[voice]), place)].held[voice]
            if cells[0] == HOLD and held[voice] not in (meant, before[place].held[voice]):
                cells = (REST if meant is None else meant, *cells[1:])
            was = held[voice]
            held[voice] = tones((REST if was is None else was, *cells))[-1]
            voices.append(cells)
        found.append((voices[0], voices[1], rows[2]))
    return found
