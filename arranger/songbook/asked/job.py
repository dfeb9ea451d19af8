"""One song to convert: what a worker is handed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from arranger.song import read_song, read_song_bytes
from arranger.song.reader import too_large
from arranger.songbook.asked.archives import Member, read_member

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.settings import Settings
    from arranger.sheet.keep import Keeping
    from arranger.song import Song


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One song to convert."""

    source: Path
    """Its file, or the ZIP that it is in."""
    member: Member | None = None
    """Where it is in the ZIP."""
    relative: str
    place: str
    out: Path
    settings: Settings
    audio: str | None
    force: bool
    keeping: Keeping
    seconds: float
    """Time limit."""
    megabytes: int
    """Memory limit, on top of what an idle worker has."""
    advise: bool = False
    """Only try what other settings would give, and write nothing: it comes back as `Advised`."""

    @property
    def folder(self) -> Path:
        """Where the song's files are."""
        return self.out.joinpath(*self.place.split("/")[:-1])

    @property
    def name(self) -> str:
        """What they are called, without suffix."""
        return self.place.rsplit("/", 1)[-1]


def read_job(job: Job) -> Song:
    """Return the song of a job, read.

    Raises `SongError` if it can't be read.
    """
    if job.member is None:
        return read_song(job.source, job.settings.read)
    most = job.settings.read.max_bytes
    content = read_member(job.source, job.member, most)
    if len(content) > most:
        raise too_large(most)
    return read_song_bytes(content, PurePosixPath(job.relative).name, job.settings.read)
