"""Running the program as a process that signals are sent to."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[1]

_AS_FROM_A_TERMINAL = (
    "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler); "
    "signal.signal(signal.SIGHUP, signal.SIG_DFL); "
    "from arranger.cli.start import main; main()"
)


def interruptible(*words: str | Path) -> list[str]:
    """Return a command line of arranger that Ctrl-C and a hang-up reach, though not the tests.

    A shell's background jobs ignore SIGINT, `nohup` ignores SIGHUP, and so does what they start.
    """
    return [sys.executable, "-c", _AS_FROM_A_TERMINAL, *map(str, words)]


@contextmanager
def running(command: list[str], **options: Any) -> Iterator[subprocess.Popen[str]]:
    """Start a process that ends with the block at the latest, so that no test waits for ever."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(command, env=environment, text=True, **options) as process:
        try:
            yield process
        finally:
            process.kill()
