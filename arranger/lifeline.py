"""A worker process that ends with the one that started it, however that went.

Apart from all else, and without an import that takes time: a worker is to know this first.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time

from arranger.stopping import end_cleanly_on_signals
from arranger.temporaries import remove_temporaries

LOOK_SECONDS = 0.2
"""How often a worker looks whether its parent is still there."""

_START = """
import sys
from importlib import import_module
name = sys.argv[1]
sys.path[:] = sys.argv[2:]
import_module(name).main()
"""


def command_of(module: str) -> list[str]:
    """Return the command line of a process that runs ``main`` of a module, found as this one's are.

    It is the plain interpreter's, which asks nothing of the calling program, neither a main guard nor
    being without threads.
    """
    return [sys.executable, "-P", "-c", _START, module, *sys.path]


def start_worker(parent: int) -> None:
    """Prepare a worker process that the process with this id has started."""
    # Ctrl-C on a terminal reaches the workers too; the parent stops them.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    end_cleanly_on_signals()
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(LOOK_SECONDS)
    remove_temporaries()
    os._exit(0)
