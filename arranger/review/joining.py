"""An edit made on the page, and a change of the file at the same time, become one sheet.

The page edits the version that it shows. When the file holds another one by then, both are changes of
that version: they are merged step by step and row by row, as hand and conversion are
(`arranger.sheet.merging`), bars that were put in or taken out included. What both changed is for the
musician to decide: then nothing is written, and the page tells.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from arranger.sheet.merging.merge import merge
from arranger.sheet.merging.pieces import WHOLE
from arranger.sheet.record.packed_sheet import pack_record

if TYPE_CHECKING:
    from arranger.sheet.merging.pieces import Conflict
    from arranger.sheet.model import Sheet


class Joined(NamedTuple):
    """What joining came to."""

    sheet: Sheet
    clashes: tuple[str, ...]
    """What both changed, in words; the sheet has the file's then."""


def joined(seen: Sheet, edited: Sheet, standing: Sheet) -> Joined:
    """Return a sheet with what the page and what the file changed.

    ``seen``: the version that the page showed.
    ``edited``: that version with the page's edit.
    ``standing``: what the file holds.

    Raises `SheetError` if the file's sheet can't be joined with another one.
    """
    if standing == seen:
        return Joined(edited, ())
    numbers = [bar.number for bar in seen.bars]
    record = pack_record(replace(seen, generated=None, comments=()), 0, numbers, numbers)
    found = merge(
        replace(standing, generated=record),
        replace(edited, generated=record),
        as_typed=True,
        two_hands=True,
    )
    sheet = replace(
        found.sheet,
        source_file=standing.source_file,
        source_sha256=standing.source_sha256,
        settings=standing.settings,
        digest=standing.digest,
        generated=standing.generated,
        comments=standing.comments,
    )
    return Joined(sheet, tuple(dict.fromkeys(_said(conflict) for conflict in found.conflicts)))


def _said(conflict: Conflict) -> str:
    if conflict.bar is None or conflict.bar == WHOLE:
        return conflict.what
    return f"bar {conflict.bar} was changed in the file meanwhile"
