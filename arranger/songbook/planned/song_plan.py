"""What a run will do, and why, before anything is converted: nothing is written here.

A look at each file is enough where size and times are as they were; only else is it read.
`plan_book` is a plan without a run.
"""

from __future__ import annotations

import hashlib
import os
import stat
import time
from dataclasses import replace
from functools import cache, cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import ArrangerError, SettingsError, SongError
from arranger.options import command_line
from arranger.reduce.worth.parts_named import remarks_on_names
from arranger.sheet.keep import TargetState, look
from arranger.songbook.asked.archives import read_member
from arranger.songbook.asked.find import is_midi
from arranger.songbook.asked.job import read_job
from arranger.songbook.asked.which_songs import asked_songs
from arranger.songbook.known.index import NAME as INDEX_NAME
from arranger.songbook.known.index import REBUILT, looked_at
from arranger.songbook.known.program import Program, engine_digest, program
from arranger.songbook.known.song_record import failed
from arranger.songbook.known.why import (
    Made,
    Why,
    left,
    output_changes,
    output_stamps,
    what_changed,
    why_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from arranger.settings import Settings
    from arranger.songbook.asked.job import Job
    from arranger.songbook.asked.which_songs import AskedSongs, BookChoice
    from arranger.songbook.known.index import Known
    from arranger.songbook.known.song_record import SongRecord


SETTLED_NS = 2_000_000_000
"""How old a file's times must be to prove something: file systems count in up to two seconds."""

FEW = 5
"""Songs that are named in a line."""

RETRIED = frozenset({"time", "memory", "crashed", "unwritable", "defect"})
"""Reasons of failures that the next run may be spared."""


class Planned(NamedTuple):
    """One song: what is to be done, and why."""

    job: Job
    why: tuple[Why, ...]
    stamp: str = ""
    """As in `Made`."""
    digest: str = ""
    """Of the song's file; "" if it isn't known yet, see `digested`."""
    record: SongRecord | None = None
    """Of a song that is left as it is; None for one that is to be converted."""

    @property
    def is_left(self) -> bool:
        """Whether it is known that the song won't be converted."""
        return self.record is not None or any(code == "kept-edit" for code, _ in self.why)


class Making:
    """Says of songs what their outputs depend on besides their files."""

    def __init__(
        self, noted: Program | None = None, engines: Mapping[str, bytes] = MappingProxyType({})
    ) -> None:
        self._noted, self._engines = noted, engines
        self._settings: dict[int, tuple[Settings, str]] = {}  # most songs share one value
        self._engine_of = cache(self._engine_digest)

    def _engine_digest(self, engine: str) -> str:
        return engine_digest(engine, self._engines.get(engine))

    @cached_property
    def program(self) -> Program:
        """The program's digests; asked for late, since the first time takes a second."""
        return program(self._noted)

    @cached_property
    def _library(self) -> str:
        from importlib.metadata import version

        return f"music21 {version('music21')}"

    def __call__(self, planned: Planned) -> Made:
        """Return what the outputs of a song depend on."""
        job, settings = planned.job, planned.job.settings
        if id(settings) not in self._settings:
            self._settings[id(settings)] = settings, command_line(settings)
        return Made(
            song=planned.digest,
            stamp=planned.stamp,
            settings=self._settings[id(settings)][1],
            engine=self._engine_of(settings.engine),
            converts=self.program.converts,
            writes=self.program.writes,
            sounds=self.program.sounds if job.audio else "",
            place=job.place,
            audio=job.audio or "",
            library="" if is_midi(job.relative) else self._library,
        )


def plan_songs(
    jobs: Iterable[Job], known: Mapping[str, Known], making: Making, *, lost: bool = False
) -> tuple[Planned, ...]:
    """Return what is to be done with each song, in order.

    ``jobs``: all songs, as they would be converted.
    ``known``: what the index says, by the song's relative path.
    ``making``: says what outputs depend on.
    ``lost``: whether an index was there that can't be used, so that a song unknown needn't be new.
    """
    return tuple(_planned(job, known.get(job.relative), making, lost=lost) for job in jobs)


def gone_of(asked: AskedSongs, known: Mapping[str, Known]) -> tuple[str, ...]:
    """Return the songs that the index knows and that are no longer there."""
    here = {job.relative for job in asked.jobs}
    return tuple(sorted(known.keys() - here)) if asked.whole else ()


def gone_told(gone: Sequence[str]) -> tuple[str, ...]:
    """Return a remark on songs that are no longer there."""
    if not gone:
        return ()
    more = f" and {len(gone) - FEW} more" if len(gone) > FEW else ""
    listed = ", ".join(gone[:FEW])
    return (f"no longer among the songs, but their files stay: {listed}{more}",)


def digested(planned: Planned) -> Planned:
    """Return it with the digest of the song, which must be taken before the song is converted."""
    return planned if planned.digest else planned._replace(digest=_digest(planned.job))


def why_done(planned: Planned, record: SongRecord) -> SongRecord:
    """Return a record that came back, with why the song was converted or left."""
    why = planned.why
    if record.state == "kept-edit" and why[-1].code != "kept-edit":
        why = (*why, why_of("kept-edit"))
    return replace(record, why=why)


def _planned(job: Job, before: Known | None, making: Making, *, lost: bool) -> Planned:
    try:
        stamp = _stamp(job.source) if job.member is None else job.member.stamp
    except SongError as error:
        refused = (Why("unreadable", error.what),)
        record = failed(job, "unreadable", error.what)
        return Planned(job, refused, record=replace(record, why=refused))
    if before is None:
        return Planned(job, (why_of("lost" if lost else "new"),), stamp)
    same = stamp and stamp == before.made.stamp
    seen = Planned(job, (), stamp, before.made.song if same else _digest(job))
    why = tuple(_changes(seen, before, making(seen)))
    if why:
        return seen._replace(why=why)
    why = (left(before.record),)
    return seen._replace(why=why, record=replace(before.record, why=why))


def _changes(planned: Planned, before: Known, made: Made) -> Iterator[Why]:
    """Yield everything for which a song is converted again."""
    job, record = planned.job, before.record
    yield from what_changed(before.made, made)
    stamps = output_stamps(job.folder, record.outputs)
    if stamps != before.outputs:
        yield from output_changes(before.outputs, stamps)
    yield from _asked(job, record)


def _asked(job: Job, record: SongRecord) -> Iterator[Why]:
    if record.edited and job.force:
        yield why_of("force")
    if record.state == "kept-edit" and job.keeping.edits:
        yield why_of("keep-edits")
    if record.reason in RETRIED:
        yield Why("again", f"it failed last time: {record.message}")


def _stamp(path: Path) -> str:
    """Return what changes when a file does, or "" if it is too young to tell.

    Raises `SongError` if it isn't there or is no regular file: a pipe or a device would never end.
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
        if job.member is not None:
            return hashlib.sha256(read_member(job.source, job.member, most)).hexdigest()
        with job.source.open("rb") as file:
            return hashlib.sha256(file.read(most + 1)).hexdigest()
    except (OSError, SongError):
        return ""


def plan_book(choice: BookChoice) -> tuple[tuple[Planned, ...], tuple[str, ...]]:
    """Return what `arranger.songbook.book.convert_book` would do with each song, and remarks.

    Raises
    ------
    SettingsError
        If the folder or ``songbook.toml`` is wrong.
    """
    asked = asked_songs(choice)
    index = looked_at(choice.out)
    known = {} if index is None else index.known
    lost = index is not None and index.rebuilt
    making = Making(None if index is None else index.program, asked.engines)
    planned = plan_songs(asked.jobs, known, making, lost=lost)
    seen = tuple(_foreseen(each, known.get(each.job.relative)) for each in planned)
    remarks = (f"{INDEX_NAME} {REBUILT}", *asked.remarks) if lost else asked.remarks
    remarks += gone_told(gone_of(asked, known))
    return seen, (*remarks, *(told for each in seen for told in _remarks_on_parts(each)))


def _remarks_on_parts(planned: Planned) -> Iterator[str]:
    """Yield what is to be said of the names of parts that the settings of a song have."""
    job, reduce = planned.job, planned.job.settings.reduce
    if planned.is_left or not (reduce.mute or reduce.tune or reduce.bass):
        return
    try:
        song = read_job(job)
    except ArrangerError:
        return  # the run tells that it can't be read
    try:
        for remark in remarks_on_names(song, reduce):
            yield f"{job.relative}: {remark}"
    except SettingsError as error:
        yield f"{job.relative}: will fail: {error}"


def _foreseen(planned: Planned, known: Known | None) -> Planned:
    """Return it with the reason why it will be left alone after all: that a hand edited its sheet."""
    job = planned.job
    if planned.record is not None or job.force or job.keeping.edits:
        return planned
    folder, name = job.folder, f"{job.name}.duet"
    if known is not None and output_stamps(folder, [name])[name] == known.outputs.get(name):
        edited = known.record.edited
    else:
        edited = look(folder / name).state in (TargetState.EDITED, TargetState.PUT_BACK)
    return planned._replace(why=(*planned.why, why_of("kept-edit"))) if edited else planned
