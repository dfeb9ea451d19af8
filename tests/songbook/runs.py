"""Runs of whole songbooks for the tests, their processes and what they leave behind."""

from __future__ import annotations

import os
import re
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.settings import Settings
from arranger.songbook import BookChoice, SongRecord

if TYPE_CHECKING:
    from collections.abc import Iterable

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).parent.parent.parent


def choice(tmp_path: Path, **changes: object) -> BookChoice:
    values: dict[str, object] = {
        "sources": (tmp_path / "songs",),
        "out": tmp_path / "out",
        "settings": Settings(),
        "workers": 1,
    }
    return BookChoice(**{**values, **changes})  # type: ignore[arg-type]


def tree(folder: Path) -> dict[str, bytes]:
    """Return all files below a folder but the index, which holds times, and earlier versions."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
        and not path.name.startswith("songbook.index")
        and not path.name.endswith(("~", ".history"))
    }


def plain(records: Iterable[SongRecord]) -> list[SongRecord]:
    """Return records without what only this run says: why it converted a song, and what changed."""
    return [replace(record, why=(), change="") for record in records]


def codes(records: Iterable[SongRecord]) -> dict[str, list[str]]:
    """Return the codes of why each song was converted or left."""
    return {record.relative: [code for code, _ in record.why] for record in records}


def command(folder: Path, out: Path, *words: str) -> list[str]:
    return [sys.executable, "-m", "arranger", "songbook", str(folder), "-o", str(out), *words]


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT)}


def edit(sheet: Path) -> str:
    """Change the first tone of a sheet, as a musician would; return the new text."""
    lines = sheet.read_text().splitlines(keepends=True)
    row = next(i for i, line in enumerate(lines) if line.strip().startswith("voice 1"))
    lines[row] = re.sub(r"[A-G]#?\d", "F5", lines[row], count=1)
    sheet.write_text("".join(lines))
    return "".join(lines)


def workers_of(parent: int) -> list[int]:
    """Return the worker processes of a run, whether they have work or not."""
    found = []
    for state in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = state.read_text().rsplit(") ", 1)[1].split()
            words = state.with_name("cmdline").read_bytes()
        except OSError:
            continue
        if int(fields[1]) == parent and b"arranger.songbook.working.worker" in words:
            found.append(int(state.parent.name))
    return found


def worked(pid: int) -> int:
    """Return the processor time of a process, in clock ticks."""
    return int(Path("/proc", str(pid), "stat").read_text().rpartition(")")[2].split()[11])


def is_running(pid: int) -> bool:
    """Return whether a process runs; one that has ended but that nobody has waited for doesn't."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(") ", 1)[1][0] not in "ZX"
    except OSError:
        return False


PATIENCE_SECONDS = 60
"""No wait is longer, however busy the machine."""


def until(condition: Callable[[], object]) -> None:
    """Wait for something that must happen."""
    end = time.monotonic() + PATIENCE_SECONDS
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.01)


def temporaries(folder: Path) -> list[Path]:
    """Return the files below a folder that are still being written."""
    return list(folder.rglob(".writing-*"))
