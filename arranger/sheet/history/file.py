"""The history of a sheet: every version that a command wrote or found, in one file beside it.

``NAME.duet.history`` belongs to the real file, not to a link that leads there. All sheets are written
through `write_version`:

1. What stands in the file is noted, if it isn't what history knows to stand there: then an editor
   or another program has written it. So no edit is lost, whoever made it.
2. The sheet is written. 3. The new version is noted.

Where history begins with a sheet that was edited since it was generated, be it broken, what was
generated comes before it: the sheet carries it.

A command that is killed between leaves the old sheet or the new one; the next one notes which. A
first write, where nothing stood before, makes no history. Commands take turns: the folder is locked
from 1 to 3. What goes wrong with the history never stops the writing of a sheet: it is one warning.
"""

from __future__ import annotations

import os
import time
import warnings
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.errors import ArrangerError, ArrangerWarning, OutputError, SheetError
from arranger.files import check_target, write_bytes, writes_through
from arranger.sheet.history.versions import (
    MOST_BYTES,
    DamagedError,
    History,
    TooLargeError,
    noted,
    pack_history,
    unpack_history,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

GENERATED = "generated"
"""Stands for a command's name where the sheet's own record told what it wrote."""
FOUND = "found"
"""Stands for a command's name where the history begins with what stood there."""
EDITED = "edited"
"""...and where what stood there was none that it knew."""

HELD = "another program has been writing into its folder for too long"

_PATIENCE_SECONDS = 10.0
MAX_BYTES = 32_000_000
"""A larger file is not read as a sheet: one of the most steps has about 12 million bytes."""
_TROUBLE = (OSError, DamagedError, TooLargeError)


def history_path(path: str | Path) -> Path:
    """Return where the history of a sheet is: beside the file that links lead to."""
    real = Path(os.path.realpath(path))
    return real.with_name(f"{real.name}.history")


def damaged_path(path: str | Path) -> Path:
    """Return where a history that can't be read is kept."""
    found = history_path(path)
    return found.with_name(f"{found.name}.damaged")


class OvertakenError(Exception):
    """Something else stands in a file than what a change was made from."""


def write_version(
    path: str | Path, content: bytes, by: str, *, instead_of: bytes | None = None
) -> None:
    """Write a sheet's text, and what stood there into its history.

    ``path``: where to; see `arranger.files` for what may stand there.
    ``by``: the command, as the list of versions names it.
    ``instead_of``: what has to stand there; None: whatever does.

    Raises `OutputError` if the sheet can't be written; `OvertakenError` if something else stands
    there; nothing is written then.
    """
    path = Path(path)
    check_target(path)
    if writes_through(path):
        write_bytes(path, content)
        return
    with taking_turns(path) as ours:
        if instead_of is not None and found_in(path) != instead_of:
            raise OvertakenError
        keeper = _Keeper(path, ours)
        keeper.note_found(content)
        write_bytes(path, content)
        keeper.note_written(content, by)


def read_history(path: str | Path) -> History:
    """Return the history of a sheet; one without versions if there is none.

    Raises `SheetError` if there is something else, or it can't be read.
    """
    where = history_path(path)
    try:
        return _read(where)
    except DamagedError as error:
        raise unreadable(path) from error
    except OSError as error:
        raise SheetError(f"can't be read: {error.strerror or error}", file=where) from error


def unreadable(path: str | Path) -> SheetError:
    """Return the error that a sheet's history can't be read."""
    return SheetError(
        "is damaged, or no history of a sheet",
        file=history_path(path),
        remedy="the next command that writes the sheet begins a new one",
    )


def is_put_back(path: str | Path) -> bool:
    """Return whether a sheet stands as undo left it: not as its newest version was."""
    where = history_path(path)
    try:
        if not where.is_file():
            return False
        history = _read(where)
        return history.is_put_back and history.stands(Path(path).read_bytes())
    except (OSError, DamagedError):
        return False


class _Keeper:
    """Notes versions while a sheet is written, until something goes wrong with that."""

    def __init__(self, path: Path, ours: bool) -> None:
        self._path = path
        self._history: History | None = None
        """None: it isn't kept any more."""
        try:
            if not ours:
                raise OutputError(HELD)
            self._history = _read(history_path(path))
        except DamagedError:
            self._begin_anew()
        except OSError as error:
            self._give_up(error)

    def note_found(self, written: bytes) -> None:
        """Note what stands there, unless nothing was known and it is what will be written."""
        history = self._history
        if history is None:
            return
        try:
            found = found_in(self._path)
            if found is not None and (history.versions or found not in (b"", written)):
                self._note(with_found(history, found, self._path))
        except _TROUBLE as error:
            self._give_up(error)

    def note_written(self, content: bytes, by: str) -> None:
        """Note what was written, if anything is known of what stood there before."""
        if self._history is None or not self._history.versions:
            return
        try:
            self._note(noted(self._history, content, int(time.time()), by))
        except _TROUBLE as error:
            self._give_up(error)

    def _note(self, history: History) -> None:
        if history is not self._history:
            save(history, self._path)
            self._history = history

    def _begin_anew(self) -> None:
        where, aside = history_path(self._path), damaged_path(self._path)
        try:
            where.replace(aside)
        except OSError as error:
            self._give_up(error)
            return
        self._history = History()
        _warn(f"{where}: is damaged, so it is begun anew; the damaged one is {aside.name}")

    def _give_up(self, error: Exception) -> None:
        self._history = None
        where = history_path(self._path)
        _warn(f"{where}: {why_not_kept(error)}, so undo won't know all versions of the sheet")


def with_found(history: History, found: bytes, path: Path) -> History:
    """Return the history with what was found in the file, as of when that was saved.

    Raises `TooLargeError` if it doesn't fit.
    """
    if history.stands(found):
        return history
    seconds = int(path.stat().st_mtime)
    if history.versions:
        return noted(history, found, seconds, EDITED)
    generated = _as_generated(found)
    if generated is not None:
        history = noted(history, generated, 0, GENERATED)
    return noted(history, found, seconds, FOUND if generated is None else EDITED)


def _as_generated(found: bytes) -> bytes | None:
    """Return the sheet that a program wrote before a hand edited it; None if that isn't known."""
    from arranger.sheet.form.parse import scan
    from arranger.sheet.form.text import format_sheet
    from arranger.sheet.record.base import base_of
    from arranger.sheet.record.digest import is_edited

    try:
        read = scan(found.decode("utf-8-sig"))
        sheet = (
            read.sheet
        )  # as far as it can be read: the record may be whole where rows are broken
        if sheet.generated is None or not (read.problems or is_edited(sheet)):
            return None
        told = replace(
            base_of(sheet).sheet,
            source_file=sheet.source_file,
            source_sha256=sheet.source_sha256,
            settings=sheet.settings,
            digest=sheet.digest,
            generated=sheet.generated,
        )
        return None if is_edited(told) else format_sheet(told).encode("utf-8")
    except (ArrangerError, ValueError):
        return None


def found_in(path: Path) -> bytes | None:
    """Return what stands in a file; None if there is none.

    Raises `TooLargeError` if it is larger than any sheet.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        return None
    if len(content) > MAX_BYTES:
        raise TooLargeError
    return content


def _read(where: Path) -> History:
    try:
        if not where.is_file():
            if where.exists():
                raise OutputError("is no plain file")
            return History()
        with where.open("rb") as file:
            return unpack_history(file.read(2 * MOST_BYTES))
    except FileNotFoundError:
        return History()


def save(history: History, path: Path) -> None:
    """Write the history of a sheet.

    Raises `OutputError` if that can't be done.
    """
    write_bytes(history_path(path), pack_history(history), beside=path)


def why_not_kept(error: Exception) -> str:
    """Return in words why a version can't be kept."""
    if isinstance(error, DamagedError):
        return "is damaged"
    if isinstance(error, TooLargeError):
        return f"can't hold a version that takes more than {MOST_BYTES:,} bytes"
    if isinstance(error, OutputError):
        return error.what
    assert isinstance(error, OSError)  # noqa: S101 - the last of `_TROUBLE`
    return f"can't be used: {error.strerror or error}"


def _warn(text: str) -> None:
    warnings.warn(text, ArrangerWarning, stacklevel=2)


@contextmanager
def taking_turns(path: Path) -> Iterator[bool]:
    """Wait until no other command writes into the sheet's folder; false if that takes too long.

    Where there are no such locks (other systems, some network drives) nobody waits.
    """
    folder = Path(os.path.realpath(path)).parent
    descriptor = -1
    try:
        with suppress(OSError):  # `write_bytes` tells what is wrong with it
            folder.mkdir(parents=True, exist_ok=True)
            descriptor = os.open(folder, os.O_RDONLY)
        yield descriptor < 0 or _is_locked(descriptor)
    finally:
        if descriptor >= 0:
            os.close(descriptor)


def _is_locked(descriptor: int) -> bool:
    try:
        import fcntl
    except ImportError:
        return True
    end = time.monotonic() + _PATIENCE_SECONDS
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() > end:
                return False
            time.sleep(0.01)
        except OSError:
            return True
        else:
            return True
