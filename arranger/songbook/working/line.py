"""The songs that wait to be converted, in a line that is served from both its ends.

Half of the workers take the longest song that waits, the others the shortest. They meet among middling
ones: so the end of a run is nobody's long song, the first results are there at once, and songs that
never end, which are mostly long, hold up one half only.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable

    from arranger.songbook.asked.job import Job

_SCORE_BYTES = {
    ".abc": 100.0,
    ".krn": 20.0,
    ".mei": 3.0,
    ".musicxml": 3.0,
    ".xml": 3.0,
    ".mxl": 60.0,
}
"""Bytes of MIDI that take as long as a byte of a score, which music21 reads; measured, roughly."""


def weight_of(job: Job) -> float:
    """Return about how much work a song is, in bytes of MIDI; 0 if its size can't be told."""
    try:
        size = job.source.stat().st_size if job.member is None else job.member.size
    except OSError:
        return 0.0
    return size * _SCORE_BYTES.get(PurePosixPath(job.relative).suffix.lower(), 1.0)


class Load(NamedTuple):
    """Some songs as work."""

    songs: int
    weight: float


class JobQueue:
    """The jobs of a run; several threads may take from it."""

    def __init__(self, jobs: Iterable[Job]) -> None:
        jobs = tuple(jobs)
        weights = {job.relative: weight_of(job) for job in jobs}
        self._lock = threading.Lock()
        self._waiting = deque(sorted(jobs, key=lambda job: (weights[job.relative], job.relative)))
        self._put_back: deque[Job] = deque()
        self._weights = weights
        self._ahead = sum(weights.values())
        self._done = Load(0, 0.0)
        self._begun: dict[str, float] = {}

    def __len__(self) -> int:
        return len(self._waiting)

    def take(self, *, longest: bool) -> Job | None:
        """Return the job that is next at one end; None when nothing waits."""
        with self._lock:
            if not self._waiting:
                return None
            job = self._waiting.pop() if longest else self._waiting.popleft()
            self._begun[job.relative] = time.monotonic()
            return job

    def finish(self, job: Job, *, converted: bool) -> None:
        """Note that a job is done with; from what failed nobody learns how long others take."""
        with self._lock:
            weight = self._weights.pop(job.relative)
            self._ahead -= weight
            if converted:
                self._done = Load(self._done.songs + 1, self._done.weight + weight)
            del self._begun[job.relative]

    def put_back(self, job: Job) -> None:
        """Have a job done once more, after all others."""
        with self._lock:
            del self._begun[job.relative]
            self._put_back.append(job)

    def turn(self) -> None:
        """From now on it is the turn of those that were put back."""
        with self._lock:
            self._waiting, self._put_back = self._put_back, deque()

    def clear(self) -> None:
        """Let nobody take anything more."""
        with self._lock:
            self._waiting.clear()

    def done(self) -> Load:
        """Return what has been converted."""
        return self._done

    def ahead(self) -> Load:
        """Return what isn't done yet; what is at work counts in full."""
        with self._lock:
            return Load(len(self._weights), self._ahead)

    def at_work(self) -> list[float]:
        """Return for how many seconds each job that was taken has been at work."""
        now = time.monotonic()
        with self._lock:
            return [now - since for since in self._begun.values()]
