"""What a run will do, and why, before anything is converted: nothing is written here.

A look at each file is enough where size and times are as they were; only else is it read.
"""

from __future__ import annotations

import hashlib
import os
import stat
import time
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SongError
from arranger.options import command_line
from arranger.songbook.program import engine_digest, program
from arranger.songbook.why import Made, Why, changes, left, output_changes, output_stamps, reason
from arranger.songbook.work import Job, failed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

    from arranger.settings import Settings
    from arranger.songbook.index import Known
    from arranger.songbook.record import Record

SETTLED_NS = 2_000_000_000
"""How old a file's times must be to prove something: file systems count in up to two seconds."""

RETRIED = frozenset({"time", "memory", "crashed", "unwritable", "defect"})
"""Reasons of failures that the next run may be spared."""


class Planned(NamedTuple):
    """One song: what is to be done, and why."""

    job: Job
    why: tuple[Why, ...]
    made: Made
    """What its outputs will depend on; see `digested`."""
    record: Record | None = None
    """Of a song that is left as it is; None for one that is to be converted."""


def plan(
    jobs: Iterable[Job],
    known: Mapping[str, Known],
    made_of: Callable[[Job], Made],
    *,
    lost: bool = False,
) -> tuple[Planned, ...]:
    """Return what is to be done with each song, in order.

    Parameters
    ----------
    jobs
        All songs, as they would be converted.
    known
        What the index says, by the song's relative path.
    made_of
        Says what the outputs depend on besides the song's file.
    lost
        Whether an index was there that can't be used, so that a song unknown needn't be new.
    """
    return tuple(_planned(job, known.get(job.relative), made_of(job), lost=lost) for job in jobs)


def made_by() -> Callable[[Job], Made]:
    """Return what says of a job what its outputs depend on besides the song's file."""
    here = program()
    engine_of = cache(engine_digest)
    words: dict[int, tuple[Settings, str]] = {}  # most songs share one value, kept alive here

    def made(job: Job) -> Made:
        settings = job.settings
        if id(settings) not in words:
            words[id(settings)] = settings, command_line(settings)
        return Made(
            settings=words[id(settings)][1],
            engine=engine_of(settings.engine),
            program=here.converts,
            report=here.writes,
            place=job.place,
            audio=job.audio or "",
        )

    return made


def digested(planned: Planned) -> Planned:
    """Return it with the digest of the song, which must be taken before the song is converted."""
    if planned.made.song:
        return planned
    return planned._replace(made=planned.made._replace(song=_digest(planned.job)))


def why_done(planned: Planned, record: Record) -> Record:
    """Return a record that came back, with why the song was converted or left."""
    why = planned.why
    if record.state == "kept-edit" and why[-1].code != "kept-edit":
        why = (*why, reason("kept-edit"))
    return replace(record, why=why)


def folder_of(job: Job) -> Path:
    """Return the folder in which a song's files are."""
    return job.out.joinpath(*job.place.split("/")[:-1])


def _planned(job: Job, before: Known | None, made: Made, *, lost: bool) -> Planned:
    try:
        stamp = _stamp(job.source)
    except SongError as error:
        refused = (Why("unreadable", error.what),)
        record = failed(job, "unreadable", error.what)
        return Planned(job, refused, made, replace(record, why=refused))
    made = made._replace(stamp=stamp)
    if before is None:
        return Planned(job, (reason("lost" if lost else "new"),), made)
    same = stamp and stamp == before.made.stamp
    made = made._replace(song=before.made.song if same else _digest(job))
    record = before.record
    why: tuple[Why, ...] = tuple(changes(before.made, made))
    if record.outputs:
        stamps = output_stamps(folder_of(job), record.outputs)
        if stamps != before.outputs:
            why += tuple(output_changes(before.outputs, stamps))
    why += tuple(_asked(job, record))
    if why:
        return Planned(job, why, made)
    why = (left(record),)
    return Planned(job, why, made, replace(record, why=why))


def _asked(job: Job, record: Record) -> Iterable[Why]:
    if record.edited and job.force:
        yield reason("force")
    if record.state == "kept-edit" and job.keeping.edits:
        yield reason("keep-edits")
    if record.reason in RETRIED:
        yield Why("again", f"it failed last time: {record.message}")


def _stamp(path: Path) -> str:
    """Return what changes when a file does, or "" if it is too young to tell.

    Raises
    ------
    SongError
        If it isn't there or is no regular file: a pipe or a device would never end.
    """
    try:
        state = os.stat(path)  # noqa: PTH116 - a fifth of the time of Path.stat
    except OSError as error:
        raise SongError(f"can't be read: {error.strerror}") from error
    if not stat.S_ISREG(state.st_mode):
        raise SongError("is no regular file")
    if time.time_ns() - max(state.st_mtime_ns, state.st_ctime_ns) < SETTLED_NS:
        return ""
    return f"{state.st_size}:{state.st_mtime_ns}:{state.st_ctime_ns}:{state.st_ino}"


def _digest(job: Job) -> str:
    """Return the digest of a song, or of as much as tells that it is too large; "" if unreadable."""
    most = job.settings.read.max_bytes
    try:
        with job.source.open("rb") as file:
            return hashlib.sha256(file.read(most + 1)).hexdigest()
    except OSError:
        return ""
