"""Many jobs on workers, so that a song that kills its worker costs only itself.

Jobs go to joblib in blocks of bounded size, in sorted order. When a worker dies joblib gives up the
whole block; what had come back is kept, and the rest of the block is done again one song at a
time, which tells the culprit from the bystanders. Workers end with the run, whatever ends it.
"""

from __future__ import annotations

import os
import tempfile
from contextlib import nullcontext
from itertools import islice
from typing import TYPE_CHECKING, Any

from arranger.lifeline import start_worker
from arranger.songbook.limits import TIME_CODE
from arranger.songbook.work import Job, do_jobs, failed

if TYPE_CHECKING:
    from collections.abc import Generator, Iterable, Iterator
    from contextlib import AbstractContextManager

    from arranger.songbook.record import Record

LONE_BATCH = 8
"""Jobs that a single worker gets at a time, so that it seldom waits for the next."""

BLOCK_JOBS = 256
"""Jobs handed over at a time: enough that workers seldom wait, few enough to bound memory."""


def run_jobs(
    jobs: Iterable[Job], workers: int, cluster: str | None = None
) -> Generator[tuple[Job, Record], None, None]:
    """Yield each job with its record as it comes back, in no fixed order.

    Parameters
    ----------
    jobs
        May be a generator; read a block at a time.
    workers
        Processes on this machine, at least 1.
    cluster
        Address of a Dask scheduler to use instead, or None.

    Raises
    ------
    SettingsError
        If the cluster can't be reached or its library isn't installed.
    """
    source = iter(jobs)
    with _backend(cluster):
        while block := {job.relative: job for job in islice(source, BLOCK_JOBS)}:
            done: set[str] = set()
            try:
                for record in _parallel(list(block.values()), workers, cluster):
                    done.add(record.relative)
                    yield block[record.relative], record
            except _dead_workers():
                for relative, job in block.items():
                    if relative not in done:
                        yield job, _alone(job, cluster)


def core_count() -> int:
    """Return how many cores this process may use."""
    from joblib import cpu_count

    return max(int(cpu_count()), 1)


def stop_workers() -> None:
    """End the local workers at once, whatever they are doing; when this returns they are gone."""
    from joblib.externals.loky import get_reusable_executor

    get_reusable_executor(reuse=True).shutdown(wait=True, kill_workers=True)


def _parallel(jobs: list[Job], workers: int, cluster: str | None) -> Iterator[Record]:
    from joblib import Parallel, delayed

    options: dict[str, Any] = {"n_jobs": workers if cluster is None else -1}
    together = 1  # joblib itself finds how many songs to send at a time
    if cluster is None and workers == 1:
        # joblib would run a single worker inside this process, where a crash takes all. Two
        # processes of which only one has work at a time are one worker.
        options = {"n_jobs": 2, "pre_dispatch": 1, "batch_size": 1}
        together = LONE_BATCH
    if cluster is None:
        options |= {"initializer": start_worker, "initargs": (os.getpid(),)}
        # No arrays are sent. Without these two joblib makes a folder in shared memory all the same,
        # which stays when the run is killed.
        options |= {"max_nbytes": None, "temp_folder": tempfile.gettempdir()}
    parallel = Parallel(return_as="generator_unordered", **options)
    batches = [jobs[start : start + together] for start in range(0, len(jobs), together)]
    results: Iterator[list[Record]] = parallel(delayed(do_jobs)(batch) for batch in batches)
    for records in results:
        yield from records


def _alone(job: Job, cluster: str | None) -> Record:
    try:
        return next(_parallel([job], 1, cluster))
    except _dead_workers() as error:
        if f"EXIT({TIME_CODE})" in str(error):
            return failed(job, "time", f"it took longer than {job.seconds:g} seconds")
        return failed(job, "crashed", "its worker process died")


def _dead_workers() -> tuple[type[BaseException], ...]:
    """Return the errors that mean that a worker process ended."""
    import sys
    from concurrent.futures.process import BrokenProcessPool

    from joblib.externals.loky.process_executor import TerminatedWorkerError

    distributed = sys.modules.get("distributed.scheduler")
    killed = () if distributed is None else (distributed.KilledWorker,)
    return (BrokenProcessPool, TerminatedWorkerError, *killed)


def _backend(cluster: str | None) -> AbstractContextManager[Any]:
    if cluster is None:
        return nullcontext()
    from arranger.songbook.cluster import dask_backend

    return dask_backend(cluster)
