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

from arranger.errors import ArrangerError, SongError
from arranger.files import sweep
from arranger.lifeline import LOOK_SECONDS
from arranger.sheet.keep import NOT_KEPT, Keeping
from arranger.songbook.book_settings import NAME as SETTINGS_NAME
from arranger.songbook.book_settings import BookSettings, read_book_settings
from arranger.songbook.find import find_songs
from arranger.songbook.index import NAME as INDEX_NAME
from arranger.songbook.index import REBUILT, Known, opened, output_sizes, settings_key, song_key
from arranger.songbook.overview import write_overview
from arranger.songbook.pool import run_jobs, stop_workers
from arranger.songbook.work import Job, failed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from arranger.settings import Settings
    from arranger.songbook.find import Found
    from arranger.songbook.index import Index
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
    found = find_songs(choice.folder, choice.out)
    book = _book_settings(choice)
    settings = {
        song.relative: (book.for_song(song.relative), book.keeping_for(song.relative))
        for song in found
    }
    remarks = book.unmatched(settings)
    with opened(choice.out) as index:
        if index.rebuilt:
            remarks = (f"{INDEX_NAME} {REBUILT}", *remarks)
        if index.interrupted:
            time.sleep(2 * LOOK_SECONDS)  # until workers of the killed run have noticed
            sweep(choice.out)
        index.forget(index.known.keys() - settings.keys())
        records: dict[str, Record] = {}
        changed = _Changed(choice, found, settings, index.known, records)
        done = converted = 0
        with _clean_end(choice), closing(run_jobs(changed, choice.workers, choice.cluster)) as jobs:
            for done, (job, record) in enumerate(jobs, 1):
                records[job.relative] = record
                _remember(index, changed.keys.pop(job.relative), job, record)
                converted += record.state != "failed"
                if done % SAVE_EVERY == 0:
                    index.save()
                progress(len(records), len(found))
            if done:
                sweep(choice.out)  # after workers that died
        index.save()
        ordered = tuple(records[song.relative] for song in found)
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


class _Changed:
    """Iterates over the jobs that must be done; what needn't is put among the records."""

    def __init__(
        self,
        choice: BookChoice,
        found: list[Found],
        settings: dict[str, tuple[Settings, Keeping]],
        known: dict[str, Known],
        records: dict[str, Record],
    ) -> None:
        self._choice, self._found, self._settings = choice, found, settings
        self._known, self._records = known, records
        self.keys: dict[str, str] = {}

    def __iter__(self) -> Iterator[Job]:
        words: dict[int, str] = {}  # most songs share one value, which `_settings` keeps alive
        for song in self._found:
            job = _job(self._choice, song, *self._settings[song.relative])
            try:
                content = _content(song.source, job.settings.read.max_bytes)
            except ArrangerError as error:
                self._records[song.relative] = failed(job, "unreadable", error.what)
                continue
            spelled = words.get(id(job.settings)) or settings_key(job.settings)
            words[id(job.settings)] = spelled
            key = song_key(content, spelled, song.place, str(job.audio))
            before = self._known.get(song.relative)
            if before is not None and before.key == key and _stands(before, job):
                self._records[song.relative] = before.record
            else:
                self.keys[song.relative] = key
                yield job


def _content(path: Path, most: int) -> bytes:
    """Return the bytes of a song, or as many as tell that it is too large."""
    try:
        if not path.is_file():  # a pipe or a device would never end
            raise SongError("is no regular file")
        with path.open("rb") as file:
            return file.read(most + 1)
    except OSError as error:
        raise SongError(f"can't be read: {error.strerror}") from error


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


def _stands(before: Known, job: Job) -> bool:
    """Return whether what was made before is all there, and is what is asked for now."""
    if before.record.edited and job.force:
        return False
    if before.record.state == "kept-edit" and job.keeping.edits:
        return False
    return before.sizes == output_sizes(_folder(job), before.record.outputs)


def _remember(index: Index, key: str, job: Job, record: Record) -> None:
    if record.reason in {"time", "memory", "crashed", "unwritable", "defect"}:
        return  # the next run may have more luck
    index.remember(job.relative, Known(key, output_sizes(_folder(job), record.outputs), record))


def _folder(job: Job) -> Path:
    return job.out.joinpath(*job.place.split("/")[:-1])


def _book_settings(choice: BookChoice) -> BookSettings:
    path = choice.folder / SETTINGS_NAME
    if not path.exists():
        return BookSettings(choice.settings, choice.keeping)
    return read_book_settings(path, choice.settings, choice.keeping)
