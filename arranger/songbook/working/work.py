"""One song from file to files, in a worker process: whatever happens, a record comes back.

A song that runs past the time limit meets an alarm that raises in Python code; for code that never
comes back to Python, `arranger.songbook.working.apart` ends the process a little later. The memory limit is
the operating system's limit of address space, raised above what the process had when it started on
the song.
"""

from __future__ import annotations

import errno
import functools
import os
import signal
import warnings
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.conversion import convert
from arranger.conversion.by_hand import with_edits
from arranger.engine import load_engine
from arranger.errors import (
    ArrangerError,
    ArrangerWarning,
    EngineError,
    LawError,
    LimitError,
    OutputError,
    SettingsError,
    one_line,
)
from arranger.outputs import OutputChoice, output_paths, write_outputs
from arranger.reduce.worth.parts_named import remarks_on_names
from arranger.report import suggestions
from arranger.report.pages.song_page import BookPlace
from arranger.sheet.keep import TargetState, look
from arranger.song.score.worker import address_space
from arranger.songbook.asked.job import Job, read_job
from arranger.songbook.known.converted import done_record
from arranger.songbook.known.song_record import SongRecord, failed, file_time, overdue
from arranger.songbook.known.standing import standing_record

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.engine.model import Engine


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


PAGE_NAME = "songbook.html"


@dataclass(frozen=True, slots=True, kw_only=True)
class Advised(SongRecord):
    """The record of a song on which other settings were tried."""

    advice: tuple[tuple[str, str], ...]
    """Options and what they give, best first."""


def do_job(job: Job) -> SongRecord:
    """Convert one song and return its record; raises nothing but the end of the process."""
    try:
        with time_limit(job.seconds), memory_limit(job.megabytes), _told() as told:
            record = _advised(job) if job.advise else _converted(job)
        said = (record.message, *(_without_folder(text, job) for text in told))
        return replace(record, message="; ".join(filter(None, said)))
    except ArrangerError as error:
        return failed(job, _code(error), _message(error, job))
    except TimeIsUpError:
        return overdue(job)
    except Exception as error:  # noqa: BLE001 - one song's defect must not end the songbook
        if _out_of_memory(error):
            return failed(job, "memory", f"it took more than {job.megabytes} megabytes")
        return failed(job, "defect", f"{type(error).__name__}: {error}")


@contextmanager
def _told() -> Iterator[list[str]]:
    """Gather what went wrong without stopping a conversion, instead of writing it somewhere."""
    said: list[str] = []
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", ArrangerWarning)
        yield said
    said += [str(each.message) for each in caught if issubclass(each.category, ArrangerWarning)]


def _advised(job: Job) -> SongRecord:
    conversion = convert(read_job(job), _engine_of(job), job.settings)
    return Advised(
        relative=job.relative,
        place=job.place,
        state="done",
        title=conversion.song.title,
        advice=tuple(
            (each.options, f"{each.what}: {each.effect}") for each in suggestions(conversion)
        ),
    )


def _converted(job: Job) -> SongRecord:
    song = read_job(job)
    choice = OutputChoice(
        folder=job.folder,
        song=job.source,
        audio=job.audio,
        force=job.force,
        keeping=job.keeping,
        command="songbook",
        book=BookPlace("../" * job.place.count("/") + PAGE_NAME, one_line(job.relative)),
    )
    paths = output_paths(choice, job.name)
    written_at = file_time(paths[0])  # before the conversion writes the sheet anew
    if not (job.force or job.keeping.edits):
        found = look(paths[0])
        if found.state in (TargetState.EDITED, TargetState.PUT_BACK) and found.sheet is not None:
            return standing_record(job.relative, job.place, found.sheet, song, choice)
    conversion = convert(song, _engine_of(job), job.settings)
    if job.keeping.edits:
        conversion, _ = with_edits(conversion, paths[0], job.keeping)
    written = write_outputs(conversion, job.name, choice)
    names = tuple(path.name for path in written.files)
    record = done_record(job.relative, job.place, conversion, names, written_at)
    return replace(record, message="; ".join(remarks_on_names(song, job.settings.reduce)))


def _engine_of(job: Job) -> Engine:
    return _engine(job.settings.engine, _stamp(job.settings.engine))


@functools.lru_cache(maxsize=16)
def _engine(name: str, _stamp: object) -> Engine:
    """Load an engine once a worker: reading its description costs as much as a small song."""
    return load_engine(name)


def _stamp(engine: str) -> object:
    """Return what changes when an engine's file does; None for a built-in one."""
    try:
        state = Path(engine).stat()
    except OSError:
        return None
    return state.st_mtime_ns, state.st_size


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
    return _without_folder(str(error), job)


def _without_folder(text: str, job: Job) -> str:
    return text.replace(f"{job.source}: ", "").replace(f"{job.out}{os.sep}", "")
