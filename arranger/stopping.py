"""Ending on a signal without leaving temporary files behind.

Ctrl-C (INT) raises `KeyboardInterrupt` as usual, and everything unwinds. TERM and HUP end the
program in their handler: an exception might be raised where a library swallows it.
"""

from __future__ import annotations

import contextlib
import signal
import threading
from typing import TYPE_CHECKING

from arranger.temporaries import remove_temporaries

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import FrameType


@contextlib.contextmanager
def ending_cleanly() -> Iterator[None]:
    """Remove this process's temporary files when TERM or HUP end it, and at the end of the block.

    The process still ends by the signal. One that is ignored (``nohup``) stays ignored, one that has
    a handler keeps it.
    """
    if threading.current_thread() is not threading.main_thread():  # where signals can't be handled
        yield
        return
    ours = end_cleanly_on_signals()
    try:
        yield
    finally:
        # A second Ctrl-C may have cut short the clean-up after the first; no third may.
        on_interrupt = signal.signal(signal.SIGINT, signal.SIG_IGN)
        remove_temporaries()
        for number in ours:
            signal.signal(number, signal.SIG_DFL)
        signal.signal(signal.SIGINT, on_interrupt)


def end_cleanly_on_signals() -> list[signal.Signals]:
    """From now on remove this process's temporary files when TERM or HUP end it; return which."""
    ours = [number for number in _ending() if signal.getsignal(number) is signal.SIG_DFL]
    for number in ours:
        signal.signal(number, _end)
    return ours


def _ending() -> list[signal.Signals]:
    # Not every system has both.
    return [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]


def _end(number: int, _frame: FrameType | None) -> None:
    remove_temporaries()
    signal.signal(number, signal.SIG_DFL)
    signal.raise_signal(number)
