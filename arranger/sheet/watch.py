"""Watching a file for saves, by looking at its size and time of change.

Departure: no service of the operating system is used. Looking at one file twenty times a second
costs nothing that can be measured, works on every file system (also those of other machines, which
send no notices), and sees editors that save by writing a new file and renaming it.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

INTERVAL_SECONDS = 0.05

_Stamp = tuple[int, int, int] | None


def saves(path: str | Path, *, sleep: Callable[[float], None] = time.sleep) -> Iterator[None]:
    """Yield once at the start and then after each save of a file, for ever.

    A save while the caller is busy counts as soon as it comes back. A file that is gone for a
    moment (an editor at work) isn't a save.

    ``sleep``: waits for so many seconds.
    """
    path = Path(path)
    seen = _stamp(path)
    yield
    while True:
        sleep(INTERVAL_SECONDS)
        stamp = _stamp(path)
        if stamp is not None and stamp != seen:
            seen = stamp
            yield


def _stamp(path: Path) -> _Stamp:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino
