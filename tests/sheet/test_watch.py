"""Watching: each save is seen, a file that is gone for a moment isn't one."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from arranger.sheet.watch import saves

if TYPE_CHECKING:
    from pathlib import Path


def test_each_save_is_seen_once(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    path.write_text("one")
    seen: list[str] = []
    waits = 0

    def editor(_seconds: float) -> None:
        """Do what an editor does, between the looks."""
        nonlocal waits
        waits += 1
        if waits == 3:
            path.write_text("two, in place")
        elif waits == 5:
            path.unlink()
        elif waits == 7:
            other = tmp_path / "new"
            other.write_text("three, by renaming")
            other.replace(path)
        elif waits == 9:
            os.utime(path, ns=(1, 1))
        elif waits == 11:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        seen.extend(path.read_text() for _ in saves(path, sleep=editor))
    assert seen == ["one", "two, in place", "three, by renaming", "three, by renaming"]
