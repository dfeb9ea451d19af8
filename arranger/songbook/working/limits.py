"""What a worker keeps to: the time and memory of one song.

A song that runs past the time limit meets an alarm that raises in Python code; for code that never
comes back to Python, `arranger.songbook.working.apart` ends the process a little later. The memory limit is
the operating system's limit of address space, raised above what the process had when it started on
the song.
"""

from __future__ import annotations

import signal
from contextlib import contextmanager
from typing import TYPE_CHECKING

from arranger.song.score.worker import address_space

if TYPE_CHECKING:
    from collections.abc import Iterator

GRACE_SECONDS = 2.0
"""How much later than the alarm the process is ended."""

_GUESS = 4_000_000_000
"""Bytes of address space that a process is taken to have where the system doesn't tell."""


class TimeIsUpError(Exception):
    """Raised in the middle of a song's conversion."""


@contextmanager
def time_limit(seconds: float) -> Iterator[None]:
    """Raise `TimeIsUpError` after some seconds; for the main thread of a process."""

    def ring(_number: int, _frame: object) -> None:
        raise TimeIsUpError

    if not hasattr(signal, "setitimer"):  # not on this system: the process is ended
        yield
        return
    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


@contextmanager
def memory_limit(megabytes: int) -> Iterator[None]:
    """Make allocations fail beyond some megabytes more than the process has now."""
    try:
        import resource
    except ImportError:  # not on this system: the operating system's own limits hold
        yield
        return
    before, hard = resource.getrlimit(resource.RLIMIT_AS)
    limit = (address_space() or _GUESS) + megabytes * 1_000_000
    if hard != resource.RLIM_INFINITY:
        limit = min(limit, hard)
    resource.setrlimit(resource.RLIMIT_AS, (limit, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (before, hard))
