"""Writing a generated sheet where one may stand already: no edit is ever lost.

A sheet that a hand has changed, or that can't be read (an edit half done), is not overwritten unless
asked. Each write that does overwrite leaves the version before beside it, once, as ``NAME.duet~``.
"""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import ArrangerError, OutputError
from arranger.files import write_bytes
from arranger.sheet.digest import is_edited
from arranger.sheet.io import read_sheet
from arranger.sheet.text import format_sheet

if TYPE_CHECKING:
    from arranger.sheet.model import Sheet


class State(Enum):
    """What stands at a path."""

    ABSENT = "absent"
    GENERATED = "generated"
    """A sheet just as it was generated."""
    EDITED = "edited"
    UNREADABLE = "unreadable"
    """Something else, or a sheet with errors."""


class Standing(NamedTuple):
    """What stands at a path, and the sheet if there is one."""

    state: State
    sheet: Sheet | None = None
    error: ArrangerError | None = None


def look(path: str | Path) -> Standing:
    """Return what stands where a sheet is to be written."""
    path = Path(path)
    if not path.exists():
        return Standing(State.ABSENT)
    try:
        sheet = read_sheet(path)
    except ArrangerError as error:
        return Standing(State.UNREADABLE, error=error)
    return Standing(State.EDITED if is_edited(sheet) else State.GENERATED, sheet)


def check_overwritable(path: str | Path) -> None:
    """Refuse to go on if writing a generated sheet here would lose an edit.

    Raises
    ------
    OutputError
        If what stands there was edited by hand or can't be read as a sheet.
    """
    found = look(path)
    if found.state is State.EDITED:
        raise OutputError(
            "was edited by hand, so it is not overwritten",
            file=path,
            remedy="convert with --keep-edits to keep the edited bars, or with --force",
        )
    if found.state is State.UNREADABLE:
        raise OutputError(
            f"is no sheet that can be read ({_reason(found)}), so it is not overwritten",
            file=path,
            remedy="mend it, move it away, or convert with --force",
        )


def write_generated(path: str | Path, sheet: Sheet, *, force: bool = False) -> None:
    """Write a generated sheet, unless that would lose an edit.

    Parameters
    ----------
    path
        Where to write.
    sheet
        What to write.
    force
        Overwrite whatever stands there.

    Raises
    ------
    OutputError
        If what stands there was edited by hand or can't be read, or the file can't be written.
    """
    path = Path(path)
    content = format_sheet(sheet).encode("utf-8")
    if not force and not _holds(path, content):
        check_overwritable(path)
    _overwrite(path, content)


def overwrite(path: str | Path, sheet: Sheet) -> None:
    """Write a sheet; the version before, if it was another, is kept as ``NAME.duet~``.

    Both writes are atomic: a program that is stopped in between leaves the old sheet whole.

    Raises
    ------
    OutputError
        If a file can't be written.
    """
    _overwrite(Path(path), format_sheet(sheet).encode("utf-8"))


def _overwrite(path: Path, content: bytes) -> None:
    before = _content(path)
    if before == content:
        return
    if before is not None:
        write_bytes(backup_path(path), before)
    write_bytes(path, content)


def backup_path(path: str | Path) -> Path:
    """Return where the version before is kept."""
    path = Path(path)
    return path.with_name(path.name + "~")


def _holds(path: Path, content: bytes) -> bool:
    """Return whether a file holds just this, so that it needn't be read as a sheet."""
    try:
        return path.stat().st_size == len(content) and path.read_bytes() == content
    except OSError:
        return False


def _content(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise OutputError(
            f"can't be read to be kept: {error.strerror or error}",
            file=path,
            remedy="choose another folder with -o",
        ) from error


def _reason(found: Standing) -> str:
    error = found.error
    if error is None:
        return "unknown"
    return ": ".join(part for part in (error.place, error.what) if part)
