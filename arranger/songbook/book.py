"""A whole songbook: find, skip what is done, convert the rest, sum up.

The flow is one way: songs found → settings of each → jobs for what has changed → records → index →
songbook.csv, songbook.json and the page. Nothing in those three depends on the order in which the
workers finished or on when they did.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import ArrangerError, SongError
from arranger.files import sweep
from arranger.songbook.book_settings import NAME as SETTINGS_NAME
from arranger.songbook.book_settings import BookSettings, read_book_settings
from arranger.songbook.find import find_songs
from arranger.songbook.index import Known, opened, output_sizes, settings_key, song_key
from arranger.songbook.overview import write_overview
from arranger.songbook.pool import run_jobs
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
    keep_edits: bool = False
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
    settings = {song.relative: book.for_song(song.relative) for song in found}
    with opened(choice.out) as index:
        if index.interrupted:
            sweep(choice.out)
        known = index.known()
        index.forget(known.keys() - settings.keys())
        records: dict[str, Record] = {}
        changed = _Changed(choice, found, settings, known, records)
        converted = 0
        results = run_jobs(changed, choice.workers, choice.cluster)
        for done, (job, record) in enumerate(results, 1):
            records[job.relative] = record
            _remember(index, changed.keys.pop(job.relative), job, record)
            converted += record.state != "failed"
            if done % SAVE_EVERY == 0:
                index.save()
            progress(len(records), len(found))
        index.save()
        ordered = tuple(records[song.relative] for song in found)
        files = write_overview(ordered, choice.out)
    return BookResult(ordered, converted, files)


class _Changed:
    """Iterates over the jobs that must be done; what needn't is put among the records."""

    def __init__(
        self,
        choice: BookChoice,
        found: list[Found],
        settings: dict[str, Settings],
        known: dict[str, Known],
        records: dict[str, Record],
    ) -> None:
        self._choice, self._found, self._settings = choice, found, settings
        self._known, self._records = known, records
        self.keys: dict[str, str] = {}

    def __iter__(self) -> Iterator[Job]:
        words: dict[int, str] = {}  # most songs share one value, which `_settings` keeps alive
        for song in self._found:
            job = _job(self._choice, song, self._settings[song.relative])
            try:
                content = _content(song.source, job.settings.read.max_bytes)
            except ArrangerError as error:
                self._records[song.relative] = failed(job, "unreadable", error.what)
                continue
            outputs = f"{job.audio} {job.keep_edits}"
            spelled = words.get(id(job.settings)) or settings_key(job.settings)
            words[id(job.settings)] = spelled
            key = song_key(content, spelled, song.place, outputs)
            before = self._known.get(song.relative)
            if before is not None and before.key == key and _still_there(before, job):
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


def _job(choice: BookChoice, song: Found, settings: Settings) -> Job:
    return Job(
        source=song.source,
        relative=song.relative,
        place=song.place,
        out=choice.out,
        settings=settings,
        audio=choice.audio,
        force=choice.force,
        keep_edits=choice.keep_edits,
        seconds=choice.seconds,
        megabytes=choice.megabytes,
    )


def _still_there(before: Known, job: Job) -> bool:
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
        return BookSettings(choice.settings, ())
    return read_book_settings(path, choice.settings)
