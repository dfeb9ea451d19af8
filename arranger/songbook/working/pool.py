"""Many jobs on workers, so that a song that kills its worker costs only itself.

Each worker is a process with a thread here that hands it song after song: as soon as one is done with
the next begins, whatever the others do. A song whose worker died is converted once more at the end,
alone: memory may have been short for two. Workers end with the run, whatever ends it.
"""

from __future__ import annotations

import os
import queue
import threading
from contextlib import closing, suppress
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from arranger.songbook.known.song_record import failed
from arranger.songbook.working.apart import Worker

if TYPE_CHECKING:
    from collections.abc import Generator

    from arranger.songbook.asked.job import Job
    from arranger.songbook.known.song_record import SongRecord
    from arranger.songbook.working.line import JobQueue

    Outcome: TypeAlias = tuple[Job, SongRecord | None]

TICK_SECONDS = 0.5
"""For how long a run is silent at most."""


def run_jobs(
    line: JobQueue, workers: int, cluster: str | None = None
) -> Generator[tuple[Job, SongRecord] | None, None, None]:
    """Yield each job with its record as it comes back; None now and then while nothing does.

    ``line``: the jobs; those that come back have been told to be finished.
    ``workers``: processes on this machine, at least 1.
    ``cluster``: address of a Dask scheduler to use instead, or None.

    Raises `SettingsError` if the cluster can't be reached, or its library isn't installed.
    """
    for alone in (False, True):
        with closing(_outcomes(line, workers, cluster, alone=alone)) as outcomes:
            for outcome in outcomes:
                if outcome is None:
                    yield None
                    continue
                job, record = outcome
                if record is None and not alone:
                    line.put_back(job)
                    continue
                record = record or failed(job, "crashed", "its worker process died, twice")
                line.finish(job, converted=record.state != "failed")
                yield job, record
        line.turn()


def core_count() -> int:
    """Return how many cores this process may use, at least 1."""
    count = os.cpu_count() or 1
    if hasattr(os, "sched_getaffinity"):
        count = len(os.sched_getaffinity(0))
    with suppress(OSError, ValueError):  # a container's share of the processors, on Linux
        share, period = Path("/sys/fs/cgroup/cpu.max").read_text().split()
        count = min(count, -(-int(share) // int(period)))
    return max(count, 1)


def _outcomes(
    line: JobQueue, workers: int, cluster: str | None, *, alone: bool
) -> Generator[Outcome | None, None, None]:
    """Yield each job with its record, or with None when its worker died; None while nothing comes."""
    if not len(line):
        return
    if cluster is None:
        yield from _here(line, 1 if alone else workers)
    else:
        from arranger.songbook.working.cluster import on_cluster

        yield from on_cluster(line, cluster, alone=alone)


def _here(line: JobQueue, workers: int) -> Generator[Outcome | None, None, None]:
    back: queue.SimpleQueue[Outcome | BaseException | None] = queue.SimpleQueue()
    crew = [Worker() for _ in range(min(workers, len(line)))]
    threads = [
        threading.Thread(target=_serve, args=(worker, line, bool(lane % 2), back), daemon=True)
        for lane, worker in enumerate(crew)
    ]
    try:
        for thread in threads:
            thread.start()
        at_work = len(threads)
        while at_work:
            try:
                each = back.get(timeout=TICK_SECONDS)
            except queue.Empty:
                yield None
                continue
            if isinstance(each, BaseException):
                raise each
            if each is None:
                at_work -= 1
            else:
                yield each
    finally:
        line.clear()
        for worker in crew:
            worker.kill()
        for thread in threads:
            thread.join()


def _serve(
    worker: Worker,
    line: JobQueue,
    longest: bool,
    back: queue.SimpleQueue[Outcome | BaseException | None],
) -> None:
    """Have one worker convert songs as long as some wait."""
    try:
        while (job := line.take(longest=longest)) is not None:
            back.put((job, worker.ask(job)))
    except BaseException as error:  # noqa: BLE001 - for the run to raise
        back.put(error)
    finally:
        worker.end()
        back.put(None)
