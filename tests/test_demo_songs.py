"""The demo songs are what their script writes."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

FOLDER = Path(__file__).parent.parent / "demo_songs"


def test_the_script_writes_the_same_bytes_again(tmp_path: Path) -> None:
    for script in FOLDER.glob("*.py"):
        shutil.copy(script, tmp_path)
    done = subprocess.run(
        [sys.executable, str(tmp_path / "make_songs.py")],
        check=True,
        capture_output=True,
        text=True,
        env={"PYTHONPATH": str(FOLDER.parent)},
    )
    names = done.stdout.split()
    assert len(names) >= 6
    assert sorted(names) == sorted(path.name for path in FOLDER.glob("*.mid"))
    for name in names:
        assert (tmp_path / name).read_bytes() == (FOLDER / name).read_bytes()
