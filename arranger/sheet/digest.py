"""Digests: how a sheet remembers what was generated, so that a hand edit is recognised.

Each bar has a digest of its metre, cells and loop mark, the whole sheet one of everything that is
played or read by people. Numbers of bars are not part of a bar's digest: a bar that only moved is
not an edited one. Comments count for the sheet but not for the bar, since a comment doesn't change
what a bar plays. Nor is it part of a bar's digest that it is as another bar or begins a section: that counts for the sheet.

A bar's digest has 40 bits: an edited bar is taken for its generated self once in 10**12 edits.
"""

from __future__ import annotations

import json
from dataclasses import replace
from hashlib import blake2b
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from arranger.sheet.model import BarDigest, Generated

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.rows import Row
    from arranger.sheet.model import Sheet, SheetBar


def bar_digests(sheet: Sheet) -> tuple[str, ...]:
    """Return the digest of each bar as it stands: 10 hexadecimal digits a bar."""
    found: list[str] = []
    loop = sheet.loop_step
    for bar, (start, end) in zip(sheet.bars, pairwise(sheet.bar_starts), strict=True):
        rows = (sheet.voice1[start:end], sheet.voice2[start:end], sheet.drums[start:end])
        mark = loop - start if loop is not None and start <= loop < end else None
        found.append(bar_digest(bar, rows, mark))
    return tuple(found)


def bar_digest(
    bar: SheetBar, rows: tuple[Row, Row, tuple[str | None, ...]], mark: int | None
) -> str:
    """Return the digest of one bar: its metre, its three rows, the step of its loop mark."""
    content = f"{bar.numerator}/{bar.denominator} {mark} {rows}"
    return blake2b(content.encode("utf-8", "replace"), digest_size=5).hexdigest()


def sheet_digest(sheet: Sheet) -> str:
    """Return the digest of the sheet as it stands: 16 hexadecimal digits."""
    return _sheet_digest(sheet, bar_digests(sheet))


def _sheet_digest(sheet: Sheet, bars: tuple[str, ...]) -> str:
    content = (
        sheet.title,
        sheet.engine,
        str(sheet.step_beats),
        sheet.speed,
        [bar.number for bar in sheet.bars],
        bars,
        sheet.comments,
        *([sheet.sounds] if sheet.sounds else []),
        *_structure(sheet),
    )
    return _digest(content, size=8)


def _structure(sheet: Sheet) -> Iterator[dict[str, list[Any]]]:
    """Yield what a digest takes in of bars that are as others and of sections, if there are any."""
    for what in ("as_bar", "section"):
        values = [getattr(bar, what) for bar in sheet.bars]
        if any(value not in (None, "") for value in values):
            yield {what: values}


def value_digest(value: str | float | None) -> str:
    """Return the digest of one value of the header: 10 hexadecimal digits."""
    return _digest(value, size=5)


def sounds_digest(sheet: Sheet) -> str:
    """Return the digest of the drum sounds of a sheet's own; nothing if it has none."""
    return _digest(sheet.sounds, size=5) if sheet.sounds else ""


def generated_parts(sheet: Sheet) -> Generated:
    """Return the digests of the sheet's parts as they stand."""
    return _parts(sheet, bar_digests(sheet))


def _parts(sheet: Sheet, bars: tuple[str, ...]) -> Generated:
    return Generated(
        title=value_digest(sheet.title),
        engine=value_digest(sheet.engine),
        speed=value_digest(sheet.speed),
        bars=tuple(
            BarDigest(bar.number, digest) for bar, digest in zip(sheet.bars, bars, strict=True)
        ),
        sounds=sounds_digest(sheet),
    )


def with_digest(sheet: Sheet) -> Sheet:
    """Return the sheet declared as generated just as it stands."""
    bars = bar_digests(sheet)
    return replace(sheet, digest=_sheet_digest(sheet, bars), generated=_parts(sheet, bars))


def is_edited(sheet: Sheet) -> bool:
    """Return whether a hand has changed the sheet since it was generated.

    A sheet without a digest was written by hand altogether, so it counts as edited.
    """
    return sheet.digest != sheet_digest(sheet)


def _digest(content: object, *, size: int) -> str:
    # ASCII JSON is the same on every Python; repr follows the Unicode tables of its version.
    return blake2b(json.dumps(content).encode("ascii"), digest_size=size).hexdigest()
