"""Writing files: what an output may replace, and how. Every command writes through here.

1. A reader sees the old content or the new, never a part: content goes into a temporary file beside
   the target, which then takes its name.
2. What is overwritten stays once as ``NAME~``, unless it is equal (then nothing is written) or empty.
   Of sheets `arranger.sheet.history.file` keeps more.
3. Links are followed: the file they lead to is replaced, the link stays. Of a file with several names
   (hard links) only the name that is written gets the new content. Mode and, where allowed, owner stay.
4. Devices and pipes are written through; ``-`` is standard output. Folders, sockets and read-only
   files are refused.
5. What a command reads is no target of its outputs: see `refuse_inputs`.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import stat
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from arranger.errors import OutputError
from arranger.temporaries import reserved_name, sweep, temporary_file

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

__all__ = [
    "STDOUT", "backup_path", "check_target", "encoded", "is_stdout", "refuse_inputs", "replacing",
    "shown_target", "sweep", "write_bytes", "write_pieces", "write_text", "writes_through",
]  # fmt: skip

STDOUT = Path("-")
"""The path that means standard output."""

_PIECE = 1 << 18
"""Bytes compared at once."""

_ANOTHER = "choose another name with -o"


@contextlib.contextmanager
def replacing(path: Path, *, beside: Path | None = None) -> Iterator[BinaryIO]:
    """Yield a file to write and seek in; on success it takes the path's place, else nothing changes.

    ``beside``: for a file of the program's own that goes with another one: it gets that one's owner
    and mode, and of what it replaces nothing is kept.

    Raises `OutputError` if the path can't be written or must not be; `BrokenPipeError` if it is
    standard output and nobody reads it any more.
    """
    try:
        check_target(path)
        if writes_through(path):
            with temporary_file(Path(tempfile.gettempdir()).absolute(), 0o600) as (_, file):
                yield file
                _pour(file, path)
            return
        real = Path(os.path.realpath(path))
        real.parent.mkdir(parents=True, exist_ok=True)
        before = _status(real)
        # Nobody else may read it before it is dressed.
        mode = 0o666 if before is None and beside is None else 0o600
        with temporary_file(real.parent, mode) as (temporary, file):
            yield file
            file.flush()
            now = _status(real)
            if now is not None and _is_equal(temporary, real):
                return
            if now is not None and now.st_size and beside is None:
                _keep(real, now)
            _dress(file, (_status(beside) if beside is not None else None) or now or before)
            temporary.replace(real)
    except OutputError:
        raise
    except OSError as error:
        if isinstance(error, BrokenPipeError) and is_stdout(path):
            raise
        raise _refused(path, error) from error


def write_bytes(path: Path, content: bytes, *, beside: Path | None = None) -> None:
    """Write bytes; see `replacing`."""
    write_pieces(path, (content,), beside=beside)


def write_pieces(path: Path, pieces: Iterable[bytes], *, beside: Path | None = None) -> None:
    """Write bytes that come piece by piece; see `replacing`."""
    with replacing(path, beside=beside) as file:
        file.writelines(pieces)


def write_text(path: Path, content: str) -> None:
    """Write UTF-8 text with line feeds; what UTF-8 lacks (half a pair) as an escape."""
    write_pieces(path, encoded((content,)))


def encoded(pieces: Iterable[str]) -> Iterator[bytes]:
    """Yield text as UTF-8, what UTF-8 lacks (half a pair) as an escape."""
    return (piece.encode("utf-8", "backslashreplace") for piece in pieces)


def backup_path(path: str | Path) -> Path:
    """Return where the version before is kept."""
    path = Path(path)
    return path.with_name(path.name + "~")


def is_stdout(path: Path) -> bool:
    """Return whether a path is ``-`` or what standard output goes to."""
    if path == STDOUT:
        return True
    try:
        return os.path.samestat(path.stat(), os.fstat(1))
    except (OSError, ValueError):
        return False


def writes_through(path: Path) -> bool:
    """Return whether a path is standard output, a device or a pipe."""
    status = None if path == STDOUT else _status(path)
    return is_stdout(path) or (status is not None and not stat.S_ISREG(status.st_mode))


def shown_target(path: Path) -> str:
    """Return what to call a target in a message."""
    return "standard output" if path == STDOUT else str(path)


def check_target(path: Path) -> None:
    """Refuse what can't be a target, before work is put into it.

    Raises `OutputError` if the path is a folder, a socket, a read-only file, or can't be looked at.
    """
    if path == STDOUT:
        return
    try:
        status = _status(path)
    except OSError as error:
        raise _refused(path, error) from error
    if status is None or any(
        kind(status.st_mode) for kind in (stat.S_ISFIFO, stat.S_ISCHR, stat.S_ISBLK)
    ):
        return
    if not stat.S_ISREG(status.st_mode):
        kind = "a folder" if stat.S_ISDIR(status.st_mode) else "no plain file"
        raise OutputError(f"can't be written: it is {kind}", file=path, remedy=_ANOTHER)
    # Root may write everything; a file that was made read-only is meant to stay all the same.
    if not status.st_mode & 0o222 or not os.access(path, os.W_OK):
        raise OutputError(
            "can't be written: it is read-only",
            file=path,
            remedy=f"make it writable, or {_ANOTHER}",
        )


def refuse_inputs(path: Path, inputs: Mapping[str, Path], sha256: str = "") -> None:
    """Refuse a target that is one of the files a command reads, under whatever name.

    That also holds for the place where what the target held would be kept.

    ``inputs``: what is read, by what to call it: "the sheet that is read here".
    ``sha256``: of the song, where it isn't known which file it is; a target with that content is
    refused.

    Raises `OutputError` if it is.
    """
    if not path.is_file():
        return
    for target in (path, backup_path(os.path.realpath(path))):
        for what, source in inputs.items():
            if _same_file(target, source):
                raise OutputError(
                    f"is {what}, so it is not overwritten", file=target, remedy=_ANOTHER
                )
        if sha256 and _digest(target) == sha256:
            raise OutputError(
                "is the song that the sheet was made from, so it is not overwritten",
                file=target,
                remedy=_ANOTHER,
            )


def _same_file(path: Path, other: Path) -> bool:
    try:
        return path.is_file() and path.samefile(other)
    except OSError:
        return False


def _digest(path: Path) -> str:
    try:
        if not path.is_file():
            return ""
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def _status(path: Path) -> os.stat_result | None:
    try:
        return path.stat()
    except FileNotFoundError:
        return None


def _is_equal(one: Path, other: Path) -> bool:
    """Return whether two files hold the same; in larger pieces than `filecmp` takes."""
    if one.stat().st_size != other.stat().st_size:
        return False
    with one.open("rb") as ours, other.open("rb") as theirs:
        while piece := ours.read(_PIECE):
            if piece != theirs.read(_PIECE):
                return False
    return True


def _pour(file: BinaryIO, path: Path) -> None:
    """Copy what was written to a device, a pipe or standard output."""
    file.seek(0)
    if not is_stdout(path):
        # Not "w" alone: that would make a file, had the pipe gone meanwhile.
        with open(path, "wb", opener=lambda name, _: os.open(name, os.O_WRONLY)) as sink:
            shutil.copyfileobj(file, sink)
    elif sys.stdout is None:
        raise OutputError("standard output is closed", remedy="name a file with -o")
    else:
        sys.stdout.flush()
        shutil.copyfileobj(file, sys.stdout.buffer)
        sys.stdout.buffer.flush()


def _keep(path: Path, status: os.stat_result) -> None:
    """Let what stands at a path also stand under ``NAME~``."""
    backup = backup_path(path)
    if backup.is_symlink() or (backup.exists() and not backup.is_file()):
        raise OutputError(
            "is no plain file, so the version before can't be kept there",
            file=backup,
            remedy="move it away",
        )
    try:
        with reserved_name(path.parent) as temporary:
            temporary.hardlink_to(path)
            temporary.replace(backup)
    except OSError:  # a file system without hard links, or a file of another user's
        with temporary_file(path.parent, 0o600) as (temporary, copy), path.open("rb") as old:
            shutil.copyfileobj(old, copy)
            copy.flush()
            _dress(copy, status)
            temporary.replace(backup)


def _dress(file: BinaryIO, status: os.stat_result | None) -> None:
    """Give a new file the owner and the mode of the one whose place it takes."""
    if status is None or not hasattr(os, "fchown"):
        return
    with contextlib.suppress(OSError):  # only root gives files away
        os.fchown(file.fileno(), status.st_uid, status.st_gid)
    with contextlib.suppress(OSError):  # a file system without modes
        os.fchmod(file.fileno(), stat.S_IMODE(status.st_mode))


def _refused(path: Path, error: OSError) -> OutputError:
    return OutputError(
        f"can't be written: {error.strerror or error}",
        file=shown_target(path),
        remedy="choose another name or folder with -o, or free the space or the rights",
    )
