"""What a worker keeps to: the time and memory of one song.

A song that runs past the time limit is stopped twice over: an alarm that raises in Python code,
and, for code that never comes back to Python, a watchdog that ends the process a little later; the
run then goes on with fresh workers. The memory limit is the operating system's limit of address
space, raised above what the process had when it started on the song.
"""

from __future__ import annotations

import os
import signal
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

from arranger.song.score_worker import address_space
from arranger.temporaries import remove_temporaries

if TYPE_CHECKING:
    from collections.abc import Iterator

GRACE_SECONDS = 2.0
"""How much later than the alarm the watchdog ends the process."""

_GUESS = 4_000_000_000
"""Bytes of address space that a process is taken to have where the system doesn't tell."""

TIME_CODE = 75
"""Exit code of a worker that its watchdog ended."""


class TimeIsUpError(Exception):
    """Raised in the middle of a song's conversion."""


@contextmanager
def time_limit(seconds: float) -> Iterator[None]:
    """Raise `TimeIsUpError` after some seconds; a little later end the process."""

    def ring(_number: int, _frame: object) -> None:
        raise TimeIsUpError

    def end() -> None:
        remove_temporaries()
        os._exit(TIME_CODE)

    watchdog = threading.Timer(seconds + GRACE_SECONDS, end)
    watchdog.daemon = True
    watchdog.start()
    alarmed = hasattr(signal, "setitimer") and (
        threading.current_thread() is threading.main_thread()
    )
    if alarmed:
        before = signal.signal(signal.SIGALRM, ring)
        signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        if alarmed:
            signal.setitimer(signal.ITIMER_REAL, 0)
            signal.signal(signal.SIGALRM, before)
        watchdog.cancel()


class _Memory:
    """The limit of this process: what it had at first, and what each song at work may add."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._shares: list[int] = []
        self._before = (0, 0)
        self._base = 0

    def add(self, share: int) -> None:
        import resource

        with self._lock:
            if not self._shares:
                self._before = resource.getrlimit(resource.RLIMIT_AS)
                self._base = address_space() or _GUESS
            self._shares.append(share)
            self._set()

    def remove(self, share: int) -> None:
        with self._lock:
            self._shares.remove(share)
            self._set()

    def _set(self) -> None:
        import resource

        soft, hard = self._before
        if self._shares:
            soft = self._base + sum(self._shares)
            if hard != resource.RLIM_INFINITY:
                soft = min(soft, hard)
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


_MEMORY = _Memory()


@contextmanager
def memory_limit(megabytes: int) -> Iterator[None]:
    """Make allocations fail beyond some megabytes more than the process has now.

    Limits that overlap in threads add up; when the last ends, the process is as before.
    """
    try:
        import resource  # noqa: F401
    except ImportError:  # not on this system: the operating system's own limits hold
        yield
        return
    share = megabytes * 1_000_000
    _MEMORY.add(share)
    try:
        yield
    finally:
        _MEMORY.remove(share)
