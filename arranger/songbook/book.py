"""A whole songbook: find, skip what is done, convert the rest, sum up.

The flow is one way: songs found → settings of each → jobs for what has changed → records → index →
songbook.csv, songbook.json and the page. Nothing in those three depends on the order in which the
workers finished or on when they did.
"""

from __future__ import annotations

import time
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.files import sweep, write_bytes
from arranger.lifeline import LOOK_SECONDS
from arranger.songbook.asked.which_songs import BookChoice, asked_songs
from arranger.songbook.known.index import NAME as INDEX_NAME
from arranger.songbook.known.index import REBUILT, Known, opened
from arranger.songbook.known.song_record import with_change
from arranger.songbook.known.why import output_stamps
from arranger.songbook.planned.song_plan import (
    Making,
    digested,
    gone_of,
    gone_told,
    plan_songs,
    why_done,
)
from arranger.songbook.telling import Telling
from arranger.songbook.working.line import JobQueue
from arranger.songbook.working.pool import run_jobs

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator, Mapping

    from arranger.songbook.known.index import Index
    from arranger.songbook.known.song_record import SongRecord
    from arranger.songbook.planned.song_plan import Planned
    from arranger.songbook.progress import Progress

SAVE_SECONDS = 2.0
"""Time between two saves of the index: what was done in it is done again after a kill."""


class BookResult(NamedTuple):
    """What came out."""

    records: tuple[SongRecord, ...]
    """One a song, by relative path."""
    converted: int
    """How many were converted in this run."""
    files: tuple[Path, ...]
    """The songbook's own files."""
    remarks: tuple[str, ...] = ()
    """What should be known besides: patterns without song, an index built anew."""

    @property
    def failed(self) -> tuple[SongRecord, ...]:
        """The songs that could not be converted, in this run or an earlier one."""
        return tuple(record for record in self.records if record.state == "failed")

    @property
    def unchanged(self) -> int:
        """How many are as an earlier run, or a hand, left them."""
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
    asked = asked_songs(choice)
    jobs, remarks = asked.jobs, asked.remarks
    with opened(choice.out) as index:
        if index.rebuilt:
            remarks = (f"{INDEX_NAME} {REBUILT}", *remarks)
        if index.interrupted:
            time.sleep(2 * LOOK_SECONDS)  # until workers of the killed run have noticed
            sweep(choice.out)
        gone = gone_of(asked, index.known)
        index.forget(gone)
        remarks += gone_told(gone)
        for path, content in asked.engines.items():
            write_bytes(Path(path), content)
        making = Making(index.program, asked.engines)
        planned = plan_songs(jobs, index.known, making, lost=index.rebuilt)
        planned = _freshened(index, planned)
        records = {each.job.relative: each.record for each in planned if each.record is not None}
        todo = {each.job.relative: digested(each) for each in planned if each.record is None}
        line = JobQueue(each.job for each in todo.values())
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
            with closing(_converted(choice, index, making, todo, line)) as converting:
                for record in converting:
                    if record is not None:
                        records[record.relative] = record
                    telling.tell()
            if records:
                index.note_program(making.program)
            index.save()
            files = telling.finish()
    ordered = tuple(records[job.relative] for job in jobs)
    converted = sum(records[relative].state == "done" for relative in todo)
    return BookResult(ordered, converted, files, remarks)


def _converted(
    choice: BookChoice, index: Index, making: Making, todo: Mapping[str, Planned], line: JobQueue
) -> Generator[SongRecord | None, None, None]:
    """Yield the record of each song that is done, remembered; None now and then while none is."""
    saved = time.monotonic()
    with closing(run_jobs(line, choice.workers, choice.cluster)) as ran:
        for each in ran:
            record = None
            if each is not None:
                planned, known = todo[each[0].relative], index.known.get(each[0].relative)
                record = with_change(known and known.record, why_done(planned, each[1]))
                _remember(index, planned, making, record)
            if time.monotonic() >= saved + SAVE_SECONDS:
                index.save()
                saved = time.monotonic()
            yield record
    if todo:
        sweep(choice.out)  # after workers that died


@contextmanager
def _clean_end(choice: BookChoice, telling: Telling) -> Iterator[None]:
    """If the run doesn't reach its end, sweep up after the workers, and say so in the overview."""
    try:
        yield
    except BaseException:
        sweep(choice.out)
        telling.stop()
        raise


def _freshened(index: Index, planned: tuple[Planned, ...]) -> tuple[Planned, ...]:
    """Remember the times of files that were read, so that a look is enough next time.

    What changed in the run before is forgotten, unless this one goes on with it.
    """
    fresh = []
    for each in planned:
        record, known = each.record, index.known.get(each.job.relative)
        if record is not None and known is not None:
            stale = bool(record.change) and not index.interrupted
            if stale:
                record = replace(record, change="")
                each = each._replace(record=record)
            if stale or each.stamp != known.made.stamp:
                made = known.made._replace(stamp=each.stamp)
                index.remember(each.job.relative, known._replace(made=made, record=record))
        fresh.append(each)
    return tuple(fresh)


def _remember(index: Index, planned: Planned, making: Making, record: SongRecord) -> None:
    stamps = output_stamps(planned.job.folder, record.outputs)
    index.remember(record.relative, Known(making(planned), stamps, record))
