"""A whole songbook: find, skip what is done, convert the rest, sum up.

The flow is one way: songs found → settings of each → jobs for what has changed → records → index →
songbook.csv, songbook.json and the page. Nothing in those three depends on the order in which the
workers finished or on when they did.
"""

from __future__ import annotations

import time
from contextlib import closing, contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from arranger.files import sweep
from arranger.lifeline import LOOK_SECONDS
from arranger.sheet.keep import NOT_KEPT, Keeping
from arranger.songbook.book_settings import NAME as SETTINGS_NAME
from arranger.songbook.book_settings import BookSettings, read_book_settings
from arranger.songbook.find import find_songs
from arranger.songbook.index import NAME as INDEX_NAME
from arranger.songbook.index import REBUILT, Known, known_of, opened
from arranger.songbook.line import Line
from arranger.songbook.plan import digested, folder_of, made_by, plan, why_done
from arranger.songbook.pool import run_jobs
from arranger.songbook.telling import Telling
from arranger.songbook.why import output_stamps
from arranger.songbook.work import Job

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from pathlib import Path

    from arranger.settings import Settings
    from arranger.songbook.find import Found
    from arranger.songbook.index import Index
    from arranger.songbook.plan import Planned
    from arranger.songbook.progress import Progress
    from arranger.songbook.record import Record

SAVE_SECONDS = 2.0
"""Time between two saves of the index: what was done in it is done again after a kill."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BookChoice:
    """How a songbook is converted."""

    folder: Path
    out: Path
    settings: Settings
    audio: str | None = None
    force: bool = False
    keeping: Keeping = NOT_KEPT
    workers: int = 1
    cluster: str | None = None
    seconds: float = 60.0
    """Time limit of a song."""
    megabytes: int = 2000
    """Memory limit of a song."""


class BookResult(NamedTuple):
    """What came out."""

    records: tuple[Record, ...]
    """One a song, by relative path."""
    converted: int
    """How many were converted in this run."""
    files: tuple[Path, ...]
    """The songbook's own files."""
    remarks: tuple[str, ...] = ()
    """What should be known besides: patterns without song, an index built anew."""

    @property
    def failed(self) -> tuple[Record, ...]:
        """The songs that could not be converted, in this run or an earlier one."""
        return tuple(record for record in self.records if record.state == "failed")

    @property
    def unchanged(self) -> int:
        """How many were converted in an earlier run and haven't changed since."""
        return len(self.records) - self.converted - len(self.failed)


def convert_book(
    choice: BookChoice, progress: Callable[[Progress], None] = lambda _progress: None
) -> BookResult:
    """Convert all songs of a folder and write the overview.

    Parameters
    ----------
    choice
        What and how.
    progress
        Called with how far the run has come, a few times a second at most.

    Raises
    ------
    SettingsError
        If the folder, ``songbook.toml`` or the cluster is wrong; before anything is written.
    OutputError
        If OUT can't be written or another run is writing it.
    """
    jobs, remarks = _jobs(choice)
    with opened(choice.out) as index:
        if index.rebuilt:
            remarks = (f"{INDEX_NAME} {REBUILT}", *remarks)
        if index.interrupted:
            time.sleep(2 * LOOK_SECONDS)  # until workers of the killed run have noticed
            sweep(choice.out)
        index.forget(index.known.keys() - {job.relative for job in jobs})
        planned = plan(jobs, index.known, made_by(), lost=index.rebuilt)
        records = {each.job.relative: each.record for each in planned if each.record is not None}
        _freshen(index, planned)
        todo = {each.job.relative: digested(each) for each in planned if each.record is None}
        line = Line(each.job for each in todo.values())
        telling = Telling(
            [job.relative for job in jobs],
            records,
            {relative: known.record for relative, known in index.known.items()},
            line,
            choice.out,
            progress,
            choice.seconds,
        )
        with _clean_end(choice, telling):
            _convert(choice, index, line, todo, records, telling)
        index.save()
        files = telling.finish()
    ordered = tuple(records[job.relative] for job in jobs)
    converted = sum(records[relative].state != "failed" for relative in todo)
    return BookResult(ordered, converted, files, remarks)


def _convert(
    choice: BookChoice,
    index: Index,
    line: Line,
    todo: Mapping[str, Planned],
    records: dict[str, Record],
    telling: Telling,
) -> None:
    """Convert what waits in the line; put each record among the others and into the index."""
    saved = time.monotonic()
    with closing(run_jobs(line, choice.workers, choice.cluster)) as ran:
        for each in ran:
            if each is not None:
                planned, record = todo[each[0].relative], why_done(todo[each[0].relative], each[1])
                records[record.relative] = record
                _remember(index, planned, record)
            if time.monotonic() >= saved + SAVE_SECONDS:
                index.save()
                saved = time.monotonic()
            telling.tell()
    if todo:
        sweep(choice.out)  # after workers that died


def plan_book(choice: BookChoice) -> tuple[tuple[Planned, ...], tuple[str, ...]]:
    """Return what `convert_book` would do with each song, and remarks; nothing is written.

    Raises
    ------
    SettingsError
        If the folder or ``songbook.toml`` is wrong.
    """
    jobs, remarks = _jobs(choice)
    known, lost = known_of(choice.out)
    if lost:
        remarks = (f"{INDEX_NAME} {REBUILT}", *remarks)
    return plan(jobs, known, made_by(), lost=lost), remarks


def _jobs(choice: BookChoice) -> tuple[tuple[Job, ...], tuple[str, ...]]:
    """Return all songs as they would be converted, and remarks on their settings."""
    found = find_songs(choice.folder, choice.out)
    book = _book_settings(choice)
    jobs = tuple(
        _job(choice, song, book.for_song(song.relative), book.keeping_for(song.relative))
        for song in found
    )
    return jobs, book.unmatched([song.relative for song in found])


@contextmanager
def _clean_end(choice: BookChoice, telling: Telling) -> Iterator[None]:
    """If the run doesn't reach its end, sweep up after the workers, and say so in the overview."""
    try:
        yield
    except BaseException:
        sweep(choice.out)
        telling.stop()
        raise


def _job(choice: BookChoice, song: Found, settings: Settings, keeping: Keeping) -> Job:
    return Job(
        source=song.source,
        relative=song.relative,
        place=song.place,
        out=choice.out,
        settings=settings,
        audio=choice.audio,
        force=choice.force,
        keeping=keeping,
        seconds=choice.seconds,
        megabytes=choice.megabytes,
    )


def _freshen(index: Index, planned: tuple[Planned, ...]) -> None:
    """Remember the times of files that were read, so that a look is enough next time."""
    for each in planned:
        known = index.known.get(each.job.relative)
        if each.record is not None and known is not None and each.made != known.made:
            index.remember(each.job.relative, known._replace(made=each.made))


def _remember(index: Index, planned: Planned, record: Record) -> None:
    stamps = output_stamps(folder_of(planned.job), record.outputs)
    index.remember(record.relative, Known(planned.made, stamps, record))


def _book_settings(choice: BookChoice) -> BookSettings:
    path = choice.folder / SETTINGS_NAME
    if not path.exists():
        return BookSettings(choice.settings, choice.keeping)
    return read_book_settings(path, choice.settings, choice.keeping)
