"""Signals at any moment: no temporary file stays, what was there stays whole."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest

from arranger.engine import load_engine
from arranger.rows import HOLD
from arranger.sheet import write_sheet
from tests.processes import interruptible, running
from tests.sound.sheets import sheet_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

PATIENCE_SECONDS = 60.0
SIGNALS = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)


@pytest.fixture
def long_render(tmp_path: Path) -> Iterator[list[str]]:
    """Yield a command that writes sound for as long as any test here needs."""
    sheet = tmp_path / "x.duet"
    write_sheet(sheet_of(load_engine("twin-phase"), [69, *[HOLD] * 999]), sheet)
    (tmp_path / "x.wav").write_bytes(b"before")
    yield interruptible("render", sheet, "--loop", "1000")
    assert (tmp_path / "x.wav").read_bytes() == b"before"
    assert not (tmp_path / "x.wav~").exists()


def temporaries(folder: Path) -> list[Path]:
    return list(folder.glob(".writing-*"))


def wait_for_sound(process: subprocess.Popen[str], folder: Path) -> None:
    """Wait until a process is in the middle of writing."""
    until = time.monotonic() + PATIENCE_SECONDS
    while not any(path.stat().st_size > 100_000 for path in temporaries(folder)):
        assert process.poll() is None
        assert time.monotonic() < until
        time.sleep(0.01)


@pytest.mark.parametrize("number", SIGNALS)
def test_a_signal_leaves_no_temporary_file(
    tmp_path: Path, long_render: list[str], number: signal.Signals
) -> None:
    with running(long_render, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        wait_for_sound(process, tmp_path)
        process.send_signal(number)
        said = process.communicate(timeout=PATIENCE_SECONDS)[1]
    # Ctrl-C is told by the exit code, as the README says; the others end the process themselves.
    assert process.returncode == (130 if number == signal.SIGINT else -number)
    assert "Traceback" not in said
    assert temporaries(tmp_path) == []


@pytest.mark.parametrize("number", SIGNALS)
def test_a_signal_that_is_ignored_at_the_start_stays_ignored(
    tmp_path: Path, long_render: list[str], number: signal.Signals
) -> None:
    plain = ["-m", "arranger", *long_render[3:]]
    command = ["sh", "-c", f"trap '' {number}; exec \"$@\"", "sh", long_render[0], *plain]
    with running(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        wait_for_sound(process, tmp_path)
        process.send_signal(number)
        before = temporaries(tmp_path)[0].stat().st_size
        until = time.monotonic() + PATIENCE_SECONDS
        while temporaries(tmp_path)[0].stat().st_size <= before + 1_000_000:  # it goes on
            assert process.poll() is None
            assert time.monotonic() < until
            time.sleep(0.01)


def test_after_a_kill_the_next_run_clears_up(tmp_path: Path, long_render: list[str]) -> None:
    with running(long_render) as process:
        wait_for_sound(process, tmp_path)
        process.kill()
    assert len(temporaries(tmp_path)) == 1
    other = ["render", str(tmp_path / "x.duet"), "-o", str(tmp_path / "other.wav")]
    subprocess.run(interruptible(*other), check=True, timeout=PATIENCE_SECONDS)
    assert temporaries(tmp_path) == []


INTERRUPTED_IMPORT = """
import os, signal, sys

class Finder:
    def find_spec(self, name, path=None, target=None):
        if name == "typer":
            os.kill(os.getpid(), signal.SIGINT)

signal.signal(signal.SIGINT, signal.default_int_handler)
sys.meta_path.insert(0, Finder())
from arranger.cli.start import main
main()
"""


def test_ctrl_c_while_the_program_is_imported_shows_no_traceback() -> None:
    with running([sys.executable, "-c", INTERRUPTED_IMPORT], stderr=subprocess.PIPE) as process:
        _, told = process.communicate(timeout=PATIENCE_SECONDS)
    assert (process.returncode, told) == (-signal.SIGINT, "")
