"""The same jobs on the workers of a Dask cluster.

Songs and outputs must lie where all workers see them under the same path. There, too, each song is
converted in a process of its own (`arranger.songbook.working.apart`), so it meets its limits and harms nobody.
When a worker of the cluster dies, Dask gives its songs to others.
"""

from __future__ import annotations

import logging
import threading
import time
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, TypeAlias

from arranger.errors import SettingsError
from arranger.songbook.working.apart import Worker

if TYPE_CHECKING:
    from collections.abc import Generator, Iterator

    from arranger.songbook.asked.job import Job
    from arranger.songbook.known.song_record import SongRecord
    from arranger.songbook.working.line import JobQueue

    Outcome: TypeAlias = tuple[Job, SongRecord | None]

PATIENCE_SECONDS = 5
"""How long an answer of the scheduler may take."""

DESERTED_SECONDS = 60
"""How long a cluster may be without workers: they may be starting, or starting again."""

_TICK_SECONDS = 0.5
_IDLE_SECONDS = 30.0
_AHEAD = 2
"""Songs that each thread of the cluster has been given."""


def on_cluster(
    line: JobQueue, address: str, *, alone: bool
) -> Generator[Outcome | None, None, None]:
    """Yield each job with its record, or with None when its process died; None while nothing comes.

    ``address``: of a Dask scheduler.
    ``alone``: whether one song is converted at a time.

    Raises `SettingsError` if nothing answers there or no longer does, no workers are there, they
    can't convert, or Dask isn't installed.
    """
    with _client(address) as client:
        given: dict[Any, Job] = {}
        seats = _Seats(client, address)
        turn = 0
        while True:
            room = 1 if alone else seats.count()
            while len(given) < room and (job := line.take(longest=bool(turn % 2))) is not None:
                given[client.submit(convert_apart, job, pure=False)] = job
                turn += 1
            if not given and not len(line):
                return
            back = [future for future in given if future.done()]
            for future in back:
                yield given.pop(future), _record(future, address)
            if not back:
                _wait(given)
                yield None


def convert_apart(job: Job) -> SongRecord | None:
    """Convert a song in a process of its own; this runs on a worker of the cluster."""
    with _LOCK:
        worker, timer = _IDLE.popitem() if _IDLE else (Worker(), None)
        _BUSY.add(worker)
    if timer is not None:
        timer.cancel()
    try:
        return worker.ask(job)
    finally:
        _rest(worker)


_LOCK = threading.Lock()
_BUSY: set[Worker] = set()
_IDLE: dict[Worker, threading.Timer] = {}
"""Processes on one worker of the cluster that wait for the next song, until their timer ends them."""


def _rest(worker: Worker) -> None:
    timer = threading.Timer(_IDLE_SECONDS, _retire, (worker,))
    timer.daemon = True
    with _LOCK:
        _BUSY.discard(worker)
        if not worker.over:
            _IDLE[worker] = timer
            timer.start()


def _retire(worker: Worker) -> None:
    with _LOCK:
        idle = _IDLE.pop(worker, None) is not None
    if idle:
        worker.end()


def _end_all() -> None:
    """End the processes of one worker of the cluster; those at work report it to their songs."""
    with _LOCK:
        idle = list(_IDLE)
        _IDLE.clear()
        for worker in _BUSY:
            worker.kill()
    for worker in idle:
        worker.end()


class _Seats:
    """How many songs a cluster may be given at a time; looks again now and then."""

    def __init__(self, client: Any, address: str) -> None:
        self._client, self._address = client, address
        self._seats = 1
        self._due = 0.0
        self._deserted_at = time.monotonic() + DESERTED_SECONDS

    def count(self) -> int:
        """Return how many.

        Raises `SettingsError` if there have been no workers for too long.
        """
        now = time.monotonic()
        if now >= self._due:
            self._due = now + PATIENCE_SECONDS
            threads = sum(self._client.nthreads().values())
            self._seats = max(_AHEAD * threads, 1)
            if threads:
                self._deserted_at = now + DESERTED_SECONDS
            elif now >= self._deserted_at:
                raise SettingsError(
                    f"the cluster at {self._address!r} has no workers",
                    remedy="start some, then start the run again: it goes on from here",
                )
        return self._seats


def _wait(given: dict[Any, Job]) -> None:
    from distributed import wait

    with suppress(TimeoutError):
        wait(  # type: ignore[no-untyped-call]
            list(given), timeout=_TICK_SECONDS, return_when="FIRST_COMPLETED"
        )


def _record(future: Any, address: str) -> SongRecord | None:
    from distributed import KilledWorker

    if future.status == "finished":
        record: SongRecord | None = future.result()
        return record
    error = future.exception() if future.status == "error" else None
    if isinstance(error, KilledWorker):
        return None
    if error is None:
        raise _gone(address)
    raise SettingsError(
        f"the cluster at {address!r} can't convert: {type(error).__name__}: {error}",
        remedy="see that it has this version of arranger, then start the run again",
    )


def _gone(address: str) -> SettingsError:
    return SettingsError(
        f"the cluster at {address!r} is gone",
        remedy="see that it runs, then start the run again: it goes on from here",
    )


@contextmanager
def _client(address: str) -> Iterator[Any]:
    """Connect to a scheduler for the time being; at the end nothing of ours runs there."""
    try:
        from distributed import CancelledError, Client
    except ImportError as error:
        raise SettingsError(
            "--cluster needs Dask", remedy="in your clone of arranger say: pip install '.[cluster]'"
        ) from error
    try:
        client = Client(address, timeout=PATIENCE_SECONDS)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise SettingsError(
            f"no cluster answers at {address!r}",
            remedy="start a Dask scheduler and give its address, like tcp://127.0.0.1:8786",
        ) from error
    log = logging.getLogger("distributed.client")
    before = log.level
    log.setLevel(logging.CRITICAL)  # it would tell in many lines what is told here in one
    try:
        with client:
            try:
                yield client
            finally:
                if client.status == "running":
                    with suppress(Exception):  # the run's own end or error is what must be told
                        client.run(_end_all)
    except (OSError, CancelledError) as error:
        raise _gone(address) from error
    finally:
        log.setLevel(before)
