"""An edit made once: bars that were generated alike get the edit that one of them was given.

The digests of the bars as generated tell which bars were alike (a repeated section, a refrain) and
which of them a hand has changed since. Where the changed ones agree, the others of their kind take
the change; where they differ, the hand meant them to, and nothing is done.

Only what bars play is spread, not loop marks. A bar is an edit of a generated one only if it has its
number and stands where no bar was put in or taken out: else it is new. A bar that isn't named sounds as before: where
it began by holding a tone that the bar before no longer leaves, it starts that tone itself.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from arranger.errors import SheetError
from arranger.sheet.align import match_bars
from arranger.sheet.as_bars import settled
from arranger.sheet.digest import bar_digest, bar_digests
from arranger.sheet.pieces import Piece, cut, repair_holds

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.model import Sheet
    from arranger.sheet.pieces import Bar


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
            remedy="spread is for sheets that were converted from a song; here let a bar be as "
            "another (bar 9   as 1), or copy bars with arranger bars",
        )
    bars = cut(sheet)
    base = sheet.generated.bars
    matched = match_bars(base, bar_digests(sheet), [bar.head.number for bar in bars])
    pairs = [(place, origin) for place, origin in enumerate(matched) if origin is not None]
    as_they_were = [(j, i) for j, i in pairs if not _differs(bars[j], base[i].digest)]
    fixed = [(-1, -1), *as_they_were, (len(bars), len(base))]
    kinds: dict[tuple[str, int], dict[str, list[int]]] = {}
    for place, origin in pairs:
        bar = bars[place]
        now = was = _content(bar)
        after = bisect_left(fixed, (place, origin))
        if fixed[after] != (place, origin):
            was = base[origin].digest
            in_place = all(j - place == i - origin for j, i in fixed[after - 1 : after + 1])
            if not in_place or bar.head.number != base[origin].number:
                continue
        kinds.setdefault((was, bar.head.steps), {}).setdefault(now, []).append(place)
    copied: list[tuple[int, tuple[int, ...]]] = []
    differing: list[tuple[int, ...]] = []
    for (was, _), kind in kinds.items():
        alike = kind.pop(was, None)
        if len(kind) > 1:
            differing.append(tuple(sorted(places[0] for places in kind.values())))
        elif kind and alike:
            copied.append((next(iter(kind.values()))[0], tuple(alike)))
    return Spread(
        sheet=_copied(sheet, bars, matched, copied),
        copied=tuple(sorted(copied)),
        differing=tuple(sorted(differing)),
    )


def _content(bar: Bar, mark: int | None = None) -> str:
    """Return the digest of a bar if its loop mark stood at a step, or nowhere."""
    return bar_digest(bar.head, (tuple(bar.voice1), tuple(bar.voice2), tuple(bar.drums)), mark)


def _differs(bar: Bar, digest: str) -> bool:
    """Return whether a bar plays something else than what was generated, wherever its mark was."""
    marks = (None, bar.loop, *range(bar.head.steps))
    return all(_content(bar, mark) != digest for mark in marks)


def _copied(
    sheet: Sheet,
    bars: Sequence[Bar],
    matched: Sequence[int | None],
    copies: Sequence[tuple[int, tuple[int, ...]]],
) -> Sheet:
    sources = {target: bars[source] for source, targets in copies for target in targets}
    pieces = []
    for place, bar in enumerate(bars):
        source = sources.get(place)
        if source is None:
            pieces.append(Piece(bar, False, None, [], bar.held))
            continue
        rows = replace(bar, voice1=source.voice1, voice2=source.voice2, drums=source.drums)
        pieces.append(Piece(rows, False, None, [], source.held, bar.held))
    repair_holds(pieces)
    after = [piece.bar for piece in pieces if piece.bar is not None]
    base = [] if sheet.generated is None else list(sheet.generated.bars)
    for place, (bar, now, origin) in enumerate(zip(bars, after, matched, strict=True)):
        # A bar that now starts the tone which it held is no edit, or it would be spread next time.
        taken = origin is not None and _content(bar, bar.loop) == base[origin].digest
        if origin is not None and taken and place not in sources:
            base[origin] = base[origin]._replace(digest=_content(now, now.loop))
    return settled(
        replace(
            sheet,
            voice1=tuple(cell for bar in after for cell in bar.voice1),
            voice2=tuple(cell for bar in after for cell in bar.voice2),
            drums=tuple(cell for bar in after for cell in bar.drums),
            generated=sheet.generated and sheet.generated._replace(bars=tuple(base)),
        )
    )
