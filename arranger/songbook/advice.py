"""``songbook.toml`` with what the program would advise for each song: because it was tried."""

from __future__ import annotations

import glob
import json
import os
import shlex
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import OutputError, one_line
from arranger.files import STDOUT, write_bytes, write_text
from arranger.options import as_words
from arranger.songbook.asked.find import folder_of_all
from arranger.songbook.asked.settings import NAME
from arranger.songbook.asked.which_songs import asked_songs
from arranger.songbook.progress import Pace
from arranger.songbook.working.line import JobQueue
from arranger.songbook.working.pool import run_jobs
from arranger.songbook.working.work import Advised

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from arranger.settings import Settings
    from arranger.songbook.asked.which_songs import BookChoice
    from arranger.songbook.known.song_record import SongRecord
    from arranger.songbook.progress import Progress

_HEAD = """\
# What arranger advises for these songs. Each setting was tried on its song by itself: no note of tune or
# bass is lost by it, no line is heard less, and what it gains stands above it. Where there are several
# only the first counts; to try another instead, move the "# " from that one to the first.
# In the folder of the songs, under the name {name}, it is read by `arranger songbook`.
# {told}
"""


class Suggested(NamedTuple):
    """What was advised."""

    records: tuple[SongRecord, ...]
    """One a song, by relative path: `Advised`, or of a song that can't be converted."""
    path: Path
    """Where it was written."""
    read: Path
    """Where it would be read."""
    settings: Settings
    """What was asked for of all songs."""

    @property
    def advised(self) -> int:
        """How many songs have advice."""
        return sum(bool(advice_of(record)) for record in self.records)

    @property
    def failed(self) -> tuple[SongRecord, ...]:
        """The songs for which nothing could be tried."""
        return tuple(record for record in self.records if record.state == "failed")


def suggest(
    choice: BookChoice,
    target: Path | None,
    progress: Callable[[Progress], None] = lambda _progress: None,
) -> Suggested:
    """Try other settings on each song and write what helps, as a commented ``songbook.toml``.

    ``choice``: what and how; its OUT is of no matter.
    ``target``: the file, or a folder for it; None for where it is read. What is there is never
    overwritten.
    ``progress``: called with how far it has come, a few times a second at most.

    Raises `SettingsError` if the songs or their settings are wrong; `OutputError` if the file is
    there already, or can't be written.
    """
    root = folder_of_all(choice.sources)
    read = (root if root.is_dir() else root.parent) / NAME
    path = _free(target or read)
    with TemporaryDirectory() as place:
        choice = replace(choice, out=Path(place))
        asked = asked_songs(choice)
        for name, content in asked.engines.items():
            write_bytes(Path(name), content)
        jobs = [replace(job, advise=True) for job in asked.jobs]
        records: dict[str, SongRecord] = {}
        line = JobQueue(jobs)
        pace = Pace(line, choice.seconds)
        with closing(run_jobs(line, choice.workers, choice.cluster)) as ran:
            for each in ran:
                if each is not None:
                    records[each[0].relative] = each[1]
                if pace.is_due():
                    progress(pace.now(len(records), len(jobs)))
    ordered = tuple(records[job.relative] for job in jobs)
    found = Suggested(ordered, path, read, choice.settings)
    if path != STDOUT:
        _free(path)
    write_text(path, book_text(found))
    return found


def book_text(found: Suggested) -> str:
    """Return the text of a ``songbook.toml``."""
    songs = len(found.records)
    told = f"{found.advised} of {songs} songs have advice; for the others nothing better was found."
    head = _HEAD.format(name=NAME, told=told)
    return "\n".join([head, *_defaults(found), *_tables(found)])


def _defaults(found: Suggested) -> Iterator[str]:
    """Yield what all of it was tried with."""
    words = as_words(found.settings)
    if not words:
        return
    yield "[defaults]"
    for name, value in words.items():
        if name == "engine" and Path(str(value)).is_file():
            value = os.path.relpath(str(value), found.read.parent)  # from where it is looked for
        yield f"{name} = {json.dumps(value, ensure_ascii=False)}"
    yield ""


def _tables(found: Suggested) -> Iterator[str]:
    for record in found.records:
        advice = advice_of(record)
        if advice:
            yield f"[songs.{_quoted(_key(record.relative))}]"
            for place, (options, sentence) in enumerate(advice):
                yield f"# {'or, ' if place else ''}{one_line(sentence)}"
                yield from (f"{'# ' if place else ''}{line}" for line in _settings(options))
            yield ""
    for record in found.failed:
        yield f"# {one_line(record.relative)} couldn't be tried: {one_line(record.message)}"


def advice_of(record: SongRecord) -> tuple[tuple[str, str], ...]:
    """Return options and what they give, best first; nothing of a song that failed."""
    return record.advice if isinstance(record, Advised) else ()


def _settings(options: str) -> Iterator[str]:
    words = shlex.split(options)
    for name, value in zip(words[::2], words[1::2], strict=True):
        number = value.removeprefix("-").isdecimal()
        yield f"{name.removeprefix('--')} = {value if number else _quoted(value)}"


def _key(relative: str) -> str:
    """Return a name that means just this song; bytes that are no text, which TOML lacks, are any."""
    return "".join(
        "?" if "\ud800" <= character <= "\udfff" else character
        for character in glob.escape(relative)
    )


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _free(path: Path) -> Path:
    """Return where to write, unless something is there."""
    if path == STDOUT:
        return path
    if path.is_dir():
        path /= NAME
    if path.exists() or path.is_symlink():
        raise OutputError(
            "is there already, and is never overwritten by advice",
            file=path,
            remedy="name another file with -o, and take over what you like",
        )
    return path
