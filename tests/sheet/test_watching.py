"""The editing loop for real: a process that watches, a file that is saved, sound that follows."""

from __future__ import annotations

import random
import signal
import subprocess
from dataclasses import replace
from queue import Queue
from threading import Thread
from typing import IO, TYPE_CHECKING

import soundfile

from arranger.engine import load_engine
from arranger.sheet import write_sheet
from tests.processes import interruptible, running

from . import edits

if TYPE_CHECKING:
    from pathlib import Path

PATIENCE_SECONDS = 30.0
"""For a machine with much else to do; the time that it takes is measured in the benchmark."""


def lines_of(stream: IO[str]) -> Queue[str]:
    """Return a queue that a thread fills with the lines of a stream."""
    found: Queue[str] = Queue()

    def read() -> None:
        for line in stream:
            found.put(line)

    Thread(target=read, daemon=True).start()
    return found


def test_each_save_is_heard_and_an_error_is_told_without_giving_up(tmp_path: Path) -> None:
    path, target = tmp_path / "x.duet", tmp_path / "x.wav"
    length = load_engine("twin-phase").nearest_step_length(0.05)
    sheet = replace(
        edits.generated(random.Random(1), bars=4), engine="twin-phase", length=length.setting
    )
    write_sheet(sheet, path)
    command = ["render", str(path), "--watch", "--bars", "2-3", "--loop", "2"]
    with running(
        interruptible(*command), stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    ) as process:
        assert process.stdout is not None
        lines = lines_of(process.stdout)
        assert "watching" in lines.get(timeout=PATIENCE_SECONDS)
        assert "x.wav: " in lines.get(timeout=PATIENCE_SECONDS)
        frames = soundfile.info(target).frames
        steps = sum(bar.steps for bar in sheet.bars[1:3])
        assert abs(frames / 44_100 - 2 * steps * length.seconds) < 0.01
        before = target.read_bytes()

        path.write_text(path.read_text().replace("arranger-sheet 1", "arranger-sheet one"))
        assert "line 1" in lines.get(timeout=PATIENCE_SECONDS)
        assert target.read_bytes() == before

        first = sheet.bars[0].steps
        changed = (*sheet.voice1[:first], 60, *sheet.voice1[first + 1 :])
        write_sheet(replace(sheet, voice1=changed), path)
        assert "x.wav: " in lines.get(timeout=PATIENCE_SECONDS)
        assert target.read_bytes() != before

        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=PATIENCE_SECONDS) == 0
