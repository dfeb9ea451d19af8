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
from arranger.songbook.changes import with_change
from arranger.songbook.choice import BookChoice, asked_of
from arranger.songbook.index import NAME as INDEX_NAME
from arranger.songbook.index import REBUILT, Known, opened
from arranger.songbook.overview import write_overview
from arranger.songbook.plan import Making, digested, folder_of, gone_of, gone_told, plan, why_done
from arranger.songbook.pool import run_jobs, stop_workers
from arranger.songbook.why import output_stamps

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from arranger.songbook.index import Index
    from arranger.songbook.plan import Planned
    from arranger.songbook.record import Record
    from arranger.songbook.work import Job

SAVE_EVERY = 64
"""Songs between two saves of the index: so many are done again after a kill, at most."""


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
    asked = asked_of(choice)
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
        planned = plan(jobs, index.known, making, lost=index.rebuilt)
        planned = _freshened(index, planned)
        records = {each.job.relative: each.record for each in planned if each.record is not None}
        todo = {each.job.relative: each for each in planned if each.record is None}
        done = converted = 0
        with (
            _clean_end(choice),
            closing(run_jobs(_begun(todo), choice.workers, choice.cluster)) as ran,
        ):
            for done, (job, plain) in enumerate(ran, 1):
                before = index.known.get(job.relative)
                record = with_change(before and before.record, why_done(todo[job.relative], plain))
                records[job.relative] = record
                _remember(index, todo[job.relative], making, record)
                converted += record.state != "failed"
                if done % SAVE_EVERY == 0:
                    index.save()
                progress(len(records), len(jobs))
            if done:
                sweep(choice.out)  # after workers that died
        if records:
            index.note_program(making.program)
        index.save()
        ordered = tuple(records[job.relative] for job in jobs)
        files = write_overview(ordered, choice.out)
    return BookResult(ordered, converted, files, remarks)


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


def _begun(todo: dict[str, Planned]) -> Iterator[Job]:
    """Yield the jobs, each when its song's digest is noted."""
    for relative, planned in todo.items():
        todo[relative] = digested(planned)
        yield planned.job


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


def _remember(index: Index, planned: Planned, making: Making, record: Record) -> None:
    stamps = output_stamps(folder_of(planned.job), record.outputs)
    index.remember(record.relative, Known(making(planned), stamps, record))
