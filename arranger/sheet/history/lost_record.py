"""The record of what was generated, found again in the history where a sheet has lost it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from arranger.errors import SheetError
from arranger.sheet.form.parse import scan
from arranger.sheet.history.file import read_history
from arranger.sheet.history.versions import DamagedError, contents

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.sheet.model import Sheet


def with_lost_record(sheet: Sheet, path: str | Path) -> Sheet:
    """Return the sheet with the record of the newest version that was generated as it was.

    ``sheet``: as it stands, perhaps without its record.
    ``path``: its file.
    """
    if sheet.generated is not None or not sheet.digest:
        return sheet
    try:
        for _, content in contents(read_history(path)):
            known = scan(content.decode("utf-8-sig", "replace")).sheet
            if known.digest == sheet.digest and known.generated is not None:
                return replace(sheet, generated=known.generated)
    except (SheetError, DamagedError):  # of a history that is lost too, undo tells
        pass
    return sheet
