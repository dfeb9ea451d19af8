"""Writing files so that a reader sees the old content or the new, never a part."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Iterator


_PREFIX = ".writing-"


@contextlib.contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Yield a temporary path beside ``path``; on success it takes the name, else it is removed.

    The temporary file keeps the suffix, since audio writers choose their format by it.

    Raises
    ------
    OutputError
        If the folder or the file can't be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=_PREFIX, suffix=path.suffix, dir=path.parent)
        os.close(handle)
    except OSError as error:
        raise _refused(path, error) from error
    temporary = Path(name)
    try:
        yield temporary
        umask = os.umask(0)
        os.umask(umask)
        temporary.chmod(0o666 & ~umask)
        temporary.replace(path)
    except OSError as error:
        raise _refused(path, error) from error
    finally:
        with contextlib.suppress(FileNotFoundError):
            temporary.unlink()


def write_bytes(path: Path, content: bytes) -> None:
    """Write bytes atomically; see `replacing`."""
    with replacing(path) as temporary:
        temporary.write_bytes(content)


def write_text(path: Path, content: str) -> None:
    """Write UTF-8 text with line feeds atomically; what UTF-8 lacks (half a pair) as an escape."""
    write_bytes(path, content.encode("utf-8", "backslashreplace"))


def sweep(folder: Path) -> None:
    """Remove what killed processes left half written below a folder; none may be running."""
    for path in folder.rglob(f"{_PREFIX}*"):
        with contextlib.suppress(OSError):
            path.unlink()


def _refused(path: Path, error: OSError) -> OutputError:
    if isinstance(error, OutputError):
        return error
    return OutputError(
        f"can't be written: {error.strerror or error}",
        file=path,
        remedy="choose another folder with -o, or free the space or the rights",
    )
