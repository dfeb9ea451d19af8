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
from arranger.songbook.overview import write_overview
from arranger.songbook.plan import digested, folder_of, made_by, plan, why_done
from arranger.songbook.pool import run_jobs, stop_workers
from arranger.songbook.why import output_stamps
from arranger.songbook.work import Job

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from arranger.settings import Settings
    from arranger.songbook.find import Found
    from arranger.songbook.index import Index
    from arranger.songbook.plan import Planned
    from arranger.songbook.record import Record

SAVE_EVERY = 64
"""Songs between two saves of the index: so many are done again after a kill, at most."""


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
    choice: BookChoice, progress: Callable[[int, int], None] = lambda _done, _whole: None
) -> BookResult:
    """Convert all songs of a folder and write the overview.

    Parameters
    ----------
    choice
        What and how.
    progress
        Called with songs done and songs in all, whenever one is done.

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
        todo = {each.job.relative: each for each in planned if each.record is None}
        done = converted = 0
        with (
            _clean_end(choice),
            closing(run_jobs(_begun(todo), choice.workers, choice.cluster)) as ran,
        ):
            for done, (job, plain) in enumerate(ran, 1):
                record = why_done(todo[job.relative], plain)
                records[job.relative] = record
                _remember(index, todo[job.relative], record)
                converted += record.state != "failed"
                if done % SAVE_EVERY == 0:
                    index.save()
                progress(len(records), len(jobs))
            if done:
                sweep(choice.out)  # after workers that died
        index.save()
        ordered = tuple(records[job.relative] for job in jobs)
        files = write_overview(ordered, choice.out)
    return BookResult(ordered, converted, files, remarks)


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
def _clean_end(choice: BookChoice) -> Iterator[None]:
    """If the run doesn't reach its end, stop the workers and sweep up after them."""
    try:
        yield
    except BaseException:
        if choice.cluster is None:
            stop_workers()
        sweep(choice.out)
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


def _begun(todo: dict[str, Planned]) -> Iterator[Job]:
    """Yield the jobs, each when its song's digest is noted."""
    for relative, planned in todo.items():
        todo[relative] = digested(planned)
        yield planned.job


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
