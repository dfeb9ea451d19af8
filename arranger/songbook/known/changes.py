"""What became of a song since the run before: its record beside the one that was known."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from arranger.report.heard.hearing import LINES

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from arranger.songbook.known.record import Record

NEW = "new"
SAME = "as before"


def change_of(before: Record | None, now: Record) -> str:
    """Return what became of a song that was converted again, in a few words.

    Parameters
    ----------
    before
        What the run before knew of it; None if nothing.
    now
        What it is now.

    Returns
    -------
    change
        As in "tune +3, bytes -120": per cent more of a line heard, bytes less. `SAME` where all figures
        are as they were, `NEW` for a song that wasn't there.
    """
    if before is None:
        return NEW
    if now.state == "failed":
        return SAME if before.reason == now.reason else "fails now"
    if before.state == "failed":
        return "failed before"
    return ", ".join(_differences(before, now)) or SAME


def _differences(before: Record, now: Record) -> Iterator[str]:
    if now.edited != before.edited:
        yield "edited" if now.edited else "edits gone"
    if now.engine != before.engine:
        yield f"for {now.engine}"
    # Records of earlier versions, and of sheets without a ledger, don't say what is heard.
    for line, was, share in zip(LINES, before.heard, now.heard, strict=False):
        if was != share:
            yield f"{line} {(share or 0) - (was or 0):+}"
    if before.bytes_limit and now.song_bytes != before.song_bytes:
        yield f"bytes {now.song_bytes - before.song_bytes:+}"
    if now.steps != before.steps:
        yield f"steps {now.steps - before.steps:+}"


def file_time(path: Path) -> str:
    """Return when a file was last written, as records tell it; nothing if there is none."""
    try:
        seconds = path.stat().st_mtime
    except OSError:
        return ""
    return datetime.fromtimestamp(int(seconds), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def with_change(before: Record | None, now: Record) -> Record:
    """Return a record that came back with what became of its song, and since when it is edited.

    A sheet that keeps its edits is written anew, but not by a hand.
    """
    written = any(code == "sheet" for code, _ in now.why)
    edited_at = now.edited_at
    if now.edited and not written and before is not None and before.edited_at:
        edited_at = before.edited_at
    return replace(now, change=change_of(before, now), edited_at=edited_at)
