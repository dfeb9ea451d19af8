"""Digests: how a sheet remembers what was generated, so that a hand edit is recognised.

Each bar has a digest of its metre, cells and loop mark, the whole sheet one of everything that is
played or read by people. The sheet's stands in the header as it was when it was generated: if it is
another now, a hand has changed something. What, tells the record of the generated sheet
(`arranger.sheet.record.base`). Numbers of bars are not part of a bar's digest: a bar that only moved is not an edited one. Comments count for
the sheet but not for the bar, since a comment doesn't change what a bar plays. Nor is it part of a bar's digest that it is as
another bar or begins a section: that counts for the sheet.

A bar's digest has 40 bits: an edited bar is taken for its generated self once in 10**12 edits.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache
from hashlib import blake2b
from itertools import repeat
from typing import TYPE_CHECKING, Any

from arranger.sheet.record.packed_sheet import pack_record

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from arranger.rows import Row
    from arranger.sheet.model import Sheet
    from arranger.sheet.record.packed_sheet import Keys


def bar_digests(sheet: Sheet) -> tuple[str, ...]:
    """Return the digest of each bar as it stands: 10 hexadecimal digits a bar."""
    return _digests(sheet, sheet.bar_loops)


def bar_contents(sheet: Sheet) -> tuple[str, ...]:
    """Return the digest of what each bar plays, wherever the loop mark stands."""
    return _digests(sheet, repeat(None))


def _digests(sheet: Sheet, marks: Iterable[int | None]) -> tuple[str, ...]:
    """Return the digest of each bar: its metre, its three rows, the step of its loop mark."""
    contents = [
        f"{bar.numerator}/{bar.denominator} {mark} ({', '.join(map(_row_text, rows))})"
        for bar, rows, mark in zip(sheet.bars, sheet.bar_rows, marks, strict=False)
    ]
    return tuple(
        [blake2b(each.encode("utf-8", "replace"), digest_size=5).hexdigest() for each in contents]
    )


@lru_cache(maxsize=4096)
def _row_text(row: Row | tuple[str | None, ...]) -> str:
    """Return a row of a bar as text; many bars have the same, and sheets are asked when made and when told."""
    return repr(row)


def sheet_digest(sheet: Sheet) -> str:
    """Return the digest of the sheet as it stands: 16 hexadecimal digits."""
    content = (
        sheet.title,
        sheet.engine,
        str(sheet.step_beats),
        sheet.speed,
        [bar.number for bar in sheet.bars],
        bar_digests(sheet),
        sheet.comments,
        *([sheet.sounds] if sheet.sounds else []),
        *_structure(sheet),
    )
    # ASCII JSON is the same on every Python; repr follows the Unicode tables of its version.
    return blake2b(json.dumps(content).encode("ascii"), digest_size=8).hexdigest()


def _structure(sheet: Sheet) -> Iterator[dict[str, list[Any]]]:
    """Yield what a digest takes in of bars that are as others and of sections, if there are any."""
    for what in ("as_bar", "section"):
        values = [getattr(bar, what) for bar in sheet.bars]
        if any(value not in (None, "") for value in values):
            yield {what: values}


def with_digest(sheet: Sheet, transpose: int = 0, keys: Keys = ()) -> Sheet:
    """Return the sheet declared as generated just as it stands.

    Parameters
    ----------
    sheet
        The sheet.
    transpose
        By how many semitones the conversion moved the song.
    keys
        The key of each bar as the song names it, moved as well; none where it doesn't.
    """
    return replace(
        sheet, digest=sheet_digest(sheet), generated=pack_record(sheet, transpose, keys=keys)
    )


def is_edited(sheet: Sheet) -> bool:
    """Return whether a hand has changed the sheet since it was generated.

    A sheet without a digest was written by hand altogether, so it counts as edited. One whose bars
    are written as others, and play what they played, doesn't.
    """
    if sheet.digest == sheet_digest(sheet):
        return False
    if not is_folded(sheet):
        return True
    bars = tuple(bar._replace(as_bar=None) for bar in sheet.bars)
    return sheet.digest != sheet_digest(replace(sheet, bars=bars))


def is_folded(sheet: Sheet) -> bool:
    """Return whether some bars are written as others."""
    return any(bar.as_bar is not None for bar in sheet.bars)
