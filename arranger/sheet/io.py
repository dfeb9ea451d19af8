"""Sheets as files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from arranger.errors import LimitError, SheetError
from arranger.files import encoded
from arranger.sheet.form.parse import parse
from arranger.sheet.form.text import format_sheet
from arranger.sheet.history.file import MAX_BYTES, write_version

if TYPE_CHECKING:
    from arranger.sheet.model import Sheet


def read_text(path: str | Path) -> str:
    """Return the text of a sheet file.

    Raises `SheetError` if the file can't be read or is no UTF-8 text; `LimitError` if it is larger
    than `MAX_BYTES`.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            content = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise SheetError(
            f"can't be read: {error.strerror or error}", file=path, remedy="check the name"
        ) from error
    if len(content) > MAX_BYTES:
        raise LimitError(
            f"is larger than {MAX_BYTES} bytes", file=path, remedy="split the piece into several"
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SheetError(
            "is no sheet: not UTF-8 text",
            file=path,
            place=f"byte {error.start:#06x}",
            remedy="save it as UTF-8, or give the name of a .duet file",
        ) from error


def read_sheet(path: str | Path) -> Sheet:
    """Return the sheet that a file holds.

    Raises
    ------
    SheetError
        If it can't be read, or has an error; names the place of the first.
    LimitError
        If the file is larger than `MAX_BYTES`.
    """
    return parse(read_text(path), path)


def write_sheet(sheet: Sheet, path: str | Path, *, by: str = "write_sheet") -> None:
    """Write a sheet as text; `arranger.sheet.history.file` keeps what stood there.

    Parameters
    ----------
    sheet
        What to write.
    path
        Where to; see `arranger.files` for what may stand there.
    by
        The command that writes it, as `arranger undo` names it.

    Raises
    ------
    OutputError
        If the file can't be written.
    SheetError
        If the value is no sheet.
    """
    write_version(path, b"".join(encoded([format_sheet(sheet)])), by)
