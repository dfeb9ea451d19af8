"""One song from file to files, in a worker process: whatever happens, a record comes back.

A song that runs past the time limit is stopped twice over: an alarm that raises in Python code,
and, for code that never comes back to Python, a watchdog that ends the process a little later; the
run then goes on with fresh workers. The memory limit is the operating system's limit of address
space, raised above what the worker had when it started on the song.
"""

from __future__ import annotations

import errno
import functools
import os
import signal
import threading
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from arranger.engine import load_engine
from arranger.errors import (
    ArrangerError,
    EngineError,
    LawError,
    LimitError,
    OutputError,
    SettingsError,
)
from arranger.outputs import OutputChoice, output_paths, write_outputs
from arranger.pipeline import convert
from arranger.sheet.by_hand import with_edits
from arranger.sheet.keep import State, look
from arranger.song import read_song
from arranger.songbook.record import Record, done_record

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from arranger.engine.model import Engine
    from arranger.settings import Settings

GRACE_SECONDS = 2.0
"""How much later than the alarm the watchdog ends the process."""

TIME_CODE = 75
"""Exit code of a worker that its watchdog ended."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One song to convert."""

    source: Path
    relative: str
    place: str
    out: Path
    settings: Settings
    audio: str | None
    force: bool
    keep_edits: bool
    seconds: float
    """Time limit."""
    megabytes: int
    """Memory limit, on top of what an idle worker has."""


class _TimeIsUpError(Exception):
    pass


def do_job(job: Job) -> Record:
    """Convert one song and return its record; raises nothing but the end of the process."""
    try:
        with _time_limit(job.seconds), _memory_limit(job.megabytes):
            return _converted(job)
    except ArrangerError as error:
        return failed(job, _code(error), _message(error, job))
    except _TimeIsUpError:
        return failed(job, "time", f"it took longer than {job.seconds:g} seconds")
    except Exception as error:  # noqa: BLE001 - one song's defect must not end the songbook
        if _out_of_memory(error):
            return failed(job, "memory", f"it took more than {job.megabytes} megabytes")
        return failed(job, "defect", f"{type(error).__name__}: {error}")


def do_jobs(jobs: list[Job]) -> list[Record]:
    """Convert some songs, one after the other."""
    return [do_job(job) for job in jobs]


def failed(job: Job, reason: str, message: str) -> Record:
    """Return the record of a song that wasn't converted."""
    return Record(
        relative=job.relative, place=job.place, state="failed", reason=reason, message=message
    )


def _converted(job: Job) -> Record:
    song = read_song(job.source, job.settings.read)
    conversion = convert(song, _engine(job.settings.engine), job.settings)
    folder = job.out.joinpath(*job.place.split("/")[:-1])
    name = job.place.rsplit("/", 1)[-1]
    choice = OutputChoice(
        folder=folder,
        song=job.source,
        audio=job.audio,
        force=job.force,
        keep_edits=job.keep_edits,
    )
    if (
        not (job.force or job.keep_edits)
        and look(output_paths(choice, name)[0]).state is State.EDITED
    ):
        there = tuple(path.name for path in output_paths(choice, name) if path.exists())
        return done_record(job.relative, job.place, conversion, there, "kept-edit")
    if job.keep_edits:
        conversion, _ = with_edits(conversion, output_paths(choice, name)[0])
    written = write_outputs(conversion, name, choice)
    outputs = tuple(path.name for path in written)
    return done_record(job.relative, job.place, conversion, outputs, "done")


@functools.lru_cache(maxsize=16)
def _engine(name: str) -> Engine:
    """Load an engine once a worker: reading its description costs as much as a small song."""
    return load_engine(name)


def _code(error: ArrangerError) -> str:
    kinds = (
        (LimitError, "limit"),
        (OutputError, "unwritable"),
        ((SettingsError, EngineError), "settings"),
        (LawError, "defect"),
    )
    return next((code for kind, code in kinds if isinstance(error, kind)), "unreadable")


def _out_of_memory(error: BaseException | None) -> bool:
    """Return whether memory was short, also where a library took it for another failure."""
    while error is not None:
        short = isinstance(error, OSError) and error.errno == errno.ENOMEM
        unloaded = isinstance(error, ImportError) and "failed to map" in str(error)
        if isinstance(error, MemoryError) or short or unloaded:
            return True
        error = error.__cause__ or error.__context__
    return False


def _message(error: ArrangerError, job: Job) -> str:
    """Return the message without the folder the song happened to lie in."""
    return str(error).replace(f"{job.source}: ", "").replace(f"{job.out}{os.sep}", "")


@contextmanager
def _time_limit(seconds: float) -> Iterator[None]:
    def ring(_number: int, _frame: object) -> None:
        raise _TimeIsUpError

    watchdog = threading.Timer(seconds + GRACE_SECONDS, os._exit, (TIME_CODE,))
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


@contextmanager
def _memory_limit(megabytes: int) -> Iterator[None]:
    try:
        import resource
    except ImportError:  # not on this system: the operating system's own limits hold
        yield
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    wanted = _address_space() + megabytes * 1_000_000
    if hard != resource.RLIM_INFINITY:
        wanted = min(wanted, hard)
    resource.setrlimit(resource.RLIMIT_AS, (wanted, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


def _address_space() -> int:
    """Return the bytes of address space this process has now (Linux; elsewhere a guess)."""
    try:
        with open("/proc/self/statm", "rb") as file:  # noqa: PTH123 - no path of the user's
            return int(file.read().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    except OSError:
        return 4_000_000_000
