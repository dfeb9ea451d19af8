"""A song converted in a process of its own, which may hang, be killed or die: others don't notice.

Every worker has its own pipes, so it is plain which song one has died on. One that is late is killed
from here, whatever it is doing, also where it never comes back to Python.
"""

from __future__ import annotations

import os
import subprocess
import threading
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from arranger.lifeline import command_of
from arranger.song.score.process import receive, send
from arranger.songbook.known.song_record import failed, overdue
from arranger.songbook.working.work import GRACE_SECONDS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.songbook.asked.job import Job
    from arranger.songbook.known.song_record import SongRecord
    from arranger.songbook.working.worker import WorkerAnswer

_ALONE = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""Variables that keep a library of linear algebra to one thread: the workers share the cores already."""

START_SECONDS = 120.0
"""How long a process may take until it is ready for its first song, on a busy machine."""


class Worker:
    """A process that converts songs, one at a time; started when it is asked, and again if it died."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._over = False

    def ask(self, job: Job) -> SongRecord | None:
        """Have a song converted; None if the process died on it, and not of the time limit."""
        try:
            process = self._started()
        except OSError as error:
            return failed(
                job, "crashed", f"a worker process can't be started: {error.strerror or error}"
            )
        with _killing(process, job.seconds + GRACE_SECONDS) as late:
            answer = _exchanged(process, job)
        if answer is None or late.is_set() or not answer.reusable:
            self._end()
        if answer is not None:
            return answer.record
        return overdue(job) if late.is_set() else None

    @property
    def over(self) -> bool:
        """Whether it was told to end."""
        return self._over

    def kill(self) -> None:
        """End the process, whatever it is doing, and start none any more; any thread may say so."""
        with self._lock:
            self._over = True
            if self._process is not None:
                self._process.kill()

    def end(self) -> None:
        """End the process and wait until it is gone; for the thread that asks."""
        self.kill()
        self._end()

    def _started(self) -> subprocess.Popen[bytes]:
        with self._lock:
            process, fresh = self._process, self._process is None
            if process is None:
                process = self._process = subprocess.Popen(  # noqa: S603 - our own interpreter and code
                    command_of("arranger.songbook.working.worker"),
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.DEVNULL,
                    env=dict.fromkeys(_ALONE, "1") | dict(os.environ),
                )
            if self._over:
                process.kill()
        if fresh:  # what it takes to load the program isn't the song's time
            with _killing(process, START_SECONDS), suppress(EOFError):
                receive(process.stdout)
        return process

    def _end(self) -> None:
        with self._lock:
            process, self._process = self._process, None
        if process is not None:
            process.kill()
            with suppress(OSError), process:  # what it never read can't be written at the end
                pass


def _exchanged(process: subprocess.Popen[bytes], job: Job) -> WorkerAnswer | None:
    """Hand a song over and wait for the answer; None if the process has died."""
    try:
        send(process.stdin, job)
        answer: WorkerAnswer = receive(process.stdout)
    except (OSError, EOFError):
        return None
    return answer


@contextmanager
def _killing(process: subprocess.Popen[bytes], seconds: float) -> Iterator[threading.Event]:
    """Kill a process when the block takes longer than some seconds; the event tells of that."""
    late = threading.Event()

    def kill() -> None:
        late.set()
        process.kill()

    timer = threading.Timer(seconds, kill)
    timer.daemon = True
    timer.start()
    try:
        yield late
    finally:
        timer.cancel()
        timer.join()
