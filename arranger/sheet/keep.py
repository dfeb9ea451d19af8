"""What must not be overwritten: a sheet with edits, the sheet that is read, the song behind it.

A sheet that a hand has changed, or that can't be read (an edit half done), is not overwritten unless
asked. `arranger.files` keeps what is overwritten all the same, once, as ``NAME.duet~``.
"""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import ArrangerError, OutputError
from arranger.files import refuse_inputs
from arranger.sheet.form.text import format_sheet
from arranger.sheet.history.file import is_put_back, write_version
from arranger.sheet.io import read_sheet
from arranger.sheet.mark import MARK
from arranger.sheet.record.digest import is_edited

if TYPE_CHECKING:
    from arranger.sheet.model import Sheet


class TargetState(Enum):
    """What stands at a path."""

    ABSENT = "absent"
    GENERATED = "generated"
    """A sheet just as it was generated."""
    PUT_BACK = "put back"
    """As it was generated, but an earlier one, which undo brought back: somebody preferred it."""
    EDITED = "edited"
    UNREADABLE = "unreadable"
    """Something else, or a sheet with errors."""


class Standing(NamedTuple):
    """What stands at a path, and the sheet if there is one."""

    state: TargetState
    sheet: Sheet | None = None
    error: ArrangerError | None = None


class Keeping(NamedTuple):
    """What a new conversion does with edits that stand where it is written."""

    edits: bool = False
    """They are kept: see `arranger.sheet.merging.merge`."""
    as_typed: bool = False
    """Tones and drums by hand stay as they are, whatever the key and the engine."""
    song_changed: bool = False
    """They are kept though the song is another file now."""


NOT_KEPT = Keeping()


def look(path: str | Path) -> Standing:
    """Return what stands where a sheet is to be written; only plain files are read."""
    path = Path(path)
    if not path.is_file():
        return Standing(TargetState.ABSENT)
    try:
        sheet = read_sheet(path)
    except ArrangerError as error:
        return Standing(TargetState.UNREADABLE, error=error)
    if is_edited(sheet):
        return Standing(TargetState.EDITED, sheet)
    return Standing(TargetState.PUT_BACK if is_put_back(path) else TargetState.GENERATED, sheet)


def check_same_song(path: str | Path, edited: Sheet, now: Sheet) -> None:
    """Refuse to keep the edits of a sheet that was made from another song.

    Raises `OutputError` if the song of ``now`` isn't the file that the edited sheet was made from.
    """
    if edited.source_sha256 and edited.source_sha256 != now.source_sha256:
        was, name = edited.source_file, now.source_file
        raise OutputError(
            f"was made when {name} was another file than it is now"
            if was in ("", name)
            else f"was made from {was}, not from {name}",
            file=path,
            remedy="choose another folder with -o for another song; if it is the same one, only "
            "changed, add --song-changed",
        )


def check_overwritable(path: str | Path) -> None:
    """Refuse to go on if writing a generated sheet here would lose an edit.

    Raises `OutputError` if what stands there was edited by hand or can't be read as a sheet.
    """
    found = look(path)
    if found.state is TargetState.EDITED:
        raise OutputError(
            "was edited by hand, so it is not overwritten",
            file=path,
            remedy="convert with --keep-edits to keep the edits, or with --force",
        )
    if found.state is TargetState.UNREADABLE:
        raise OutputError(
            f"is no sheet that can be read ({_reason(found)}), so it is not overwritten",
            file=path,
            remedy="mend it, move it away, or convert with --force",
        )


def write_generated(
    path: str | Path, sheet: Sheet, *, force: bool = False, by: str = "convert"
) -> None:
    """Write a generated sheet, unless that would lose an edit.

    ``path``: where to write.
    ``sheet``: what to write.
    ``force``: overwrite whatever stands there.
    ``by``: the command that writes it, as `arranger undo` names it.

    Raises `OutputError` if what stands there was edited by hand or can't be read, or the file can't
    be written.
    """
    path = Path(path)
    content = format_sheet(sheet).encode("utf-8")
    if not force and not _holds(path, content):
        check_overwritable(path)
    write_version(path, content, by)


def refuse_sources(target: Path, path: Path, sheet: Sheet) -> None:
    """Refuse a target that is the sheet an output is made from, or the song behind it.

    The song is known by its content, and beside the sheet also by its name: it may have been changed
    since. A MIDI file there that was exported from a sheet isn't taken for it by its name.

    ``target``: where an output is to go.
    ``path``, ``sheet``: the sheet that was read.

    Raises `OutputError` if it is one of them.
    """
    inputs = {"the sheet that is read here": path}
    name = sheet.source_file.replace("\\", "/").rsplit("/", 1)[-1]
    song = path.parent / name
    if name and song.is_file() and not _is_export(song):
        inputs["the song that the sheet was made from"] = song
    refuse_inputs(target, inputs, sheet.source_sha256)


def _is_export(path: Path) -> bool:
    try:
        return MARK.encode() in path.read_bytes()
    except OSError:
        return False


def _holds(path: Path, content: bytes) -> bool:
    """Return whether a file holds just this, so that it needn't be read as a sheet."""
    try:
        return path.stat().st_size == len(content) and path.read_bytes() == content
    except OSError:
        return False


def _reason(found: Standing) -> str:
    error = found.error
    if error is None:
        return "unknown"
    return ": ".join(part for part in (error.place, error.what) if part)
