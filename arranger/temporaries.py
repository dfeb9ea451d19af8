"""Temporary files that don't outlive the process that writes them, however it ends.

1. A name is noted before its file is made. What stops the program in an orderly way, an error or a
   signal, calls `remove_temporaries` or unwinds through `reserved_name`.
2. The file is locked while it is written, and a lock goes with its process. So the first write into
   a folder can tell what a killed process left there (`sweep`) from what a running one is writing.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
from typing import TYPE_CHECKING, BinaryIO, cast

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_PREFIX = ".writing-"
_NAME = re.compile(rf"{re.escape(_PREFIX)}[0-9a-f]{{16}}")
"""Exactly our names, so that a hidden file of the user's is never taken for one."""

_noted: set[tuple[int, Path]] = set()
"""Process and name of each temporary; a forked child inherits those of its parent."""

_swept: set[Path] = set()


@contextlib.contextmanager
def reserved_name(folder: Path) -> Iterator[Path]:
    """Yield a free name in a folder; what stands under it at the end is removed."""
    path = folder / f"{_PREFIX}{os.urandom(8).hex()}"
    entry = (os.getpid(), path)
    _noted.add(entry)
    try:
        yield path
    finally:
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)
        _noted.discard(entry)


@contextlib.contextmanager
def temporary_file(folder: Path, mode: int = 0o666) -> Iterator[tuple[Path, BinaryIO]]:
    """Yield the name of a new file and the file, open for writing; it is removed unless renamed.

    The first time in a folder, what killed processes left there is removed.

    ``folder``: an absolute path.
    ``mode``: permissions, from which the system takes the umask.

    Raises `OSError` if there can't be a file.
    """
    if folder not in _swept:
        _swept.add(folder)
        _remove_stale(folder.glob(f"{_PREFIX}*"))
    while True:
        with (
            reserved_name(folder) as path,
            open(path, "x+b", opener=lambda name, flags: os.open(name, flags, mode)) as file,
        ):
            if not _locked(cast("BinaryIO", file)):
                continue
            yield path, cast("BinaryIO", file)
            return


def remove_temporaries() -> None:
    """Remove all temporary files of this process; for when it must end at once."""
    for process, path in tuple(_noted):
        if process == os.getpid():
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)


def sweep(folder: Path) -> None:
    """Remove what killed processes left below a folder; what others are writing now stays."""
    _remove_stale(folder.rglob(f"{_PREFIX}*"))


def _locked(file: BinaryIO) -> bool:
    """Lock a new file; false if a sweep came before the lock and has removed it."""
    try:
        import fcntl
    except ImportError:  # no such locks on this system, and so no sweep either
        return True
    with contextlib.suppress(OSError):  # a file system without locks: nothing is swept there
        fcntl.flock(file, fcntl.LOCK_EX)
    return os.fstat(file.fileno()).st_nlink > 0


def _remove_stale(paths: Iterator[Path]) -> None:
    try:
        import fcntl
    except ImportError:
        return
    for path in paths:
        if not _NAME.fullmatch(path.name):
            continue
        with contextlib.suppress(OSError):  # being written, gone meanwhile, or another user's
            descriptor = os.open(path, os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK)
            try:
                if stat.S_ISREG(os.fstat(descriptor).st_mode):
                    fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                    path.unlink()
            finally:
                os.close(descriptor)
