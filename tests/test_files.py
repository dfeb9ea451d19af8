"""Atomic writes: the old file or the new one, nothing between, nothing left behind."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest

from arranger.errors import OutputError
from arranger.files import replacing, write_bytes, write_text

if TYPE_CHECKING:
    from pathlib import Path


def test_writing_makes_folders_and_replaces(tmp_path: Path) -> None:
    path = tmp_path / "a" / "b.txt"
    write_text(path, "old\n")
    write_text(path, "new ♪\n")
    assert path.read_bytes() == "new ♪\n".encode()
    assert [entry.name for entry in path.parent.iterdir()] == ["b.txt"]


def test_a_failure_while_writing_leaves_the_old_file_and_no_litter(tmp_path: Path) -> None:
    path = tmp_path / "song.wav"
    write_bytes(path, b"old")

    def write_half() -> None:
        with replacing(path) as temporary:
            assert temporary.suffix == ".wav"
            temporary.write_bytes(b"half")
            raise RuntimeError("stop")

    with pytest.raises(RuntimeError, match="stop"):
        write_half()
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_path_that_cannot_be_written_is_one_clear_error(tmp_path: Path) -> None:
    blocker = tmp_path / "file"
    blocker.write_text("in the way")
    with pytest.raises(OutputError, match="can't be written") as caught:
        write_text(blocker / "inside.txt", "x")
    assert caught.value.file == blocker / "inside.txt"


def test_permissions_follow_the_umask(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_text(tmp_path / "a", "x")
    finally:
        os.umask(before)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640


def test_a_killed_process_leaves_the_old_or_the_new_file_whole(tmp_path: Path) -> None:
    path = tmp_path / "sheet"
    sizes = (200_000, 300_000)
    program = (
        "import sys, pathlib\n"
        "from arranger.files import write_bytes\n"
        "path = pathlib.Path(sys.argv[1])\n"
        "print('ready', flush=True)\n"
        "while True:\n"
        f"    write_bytes(path, b'a' * {sizes[0]})\n"
        f"    write_bytes(path, b'b' * {sizes[1]})\n"
    )
    for pause in (0.01, 0.02, 0.03):
        with subprocess.Popen(
            [sys.executable, "-c", program, str(path)], stdout=subprocess.PIPE
        ) as process:
            assert process.stdout is not None
            process.stdout.readline()
            while not path.exists():
                time.sleep(0.001)
            time.sleep(pause)
            process.kill()
        content = path.read_bytes()
        assert content in {b"a" * sizes[0], b"b" * sizes[1]}
