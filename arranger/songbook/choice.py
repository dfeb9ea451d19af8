"""What is asked of a songbook: which songs, how, and with what settings each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from arranger.sheet.keep import NOT_KEPT, Keeping
from arranger.songbook.book_settings import NAME as SETTINGS_NAME
from arranger.songbook.book_settings import BookSettings, read_book_settings
from arranger.songbook.find import find_songs
from arranger.songbook.work import Job

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.settings import Settings
    from arranger.songbook.find import Found


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


def jobs_of(choice: BookChoice) -> tuple[tuple[Job, ...], tuple[str, ...]]:
    """Return all songs as they would be converted, in order, and remarks on their settings.

    Raises
    ------
    SettingsError
        If the folder or ``songbook.toml`` is wrong.
    """
    found = find_songs(choice.folder, choice.out)
    book = _book_settings(choice)
    jobs = tuple(
        _job(choice, song, book.for_song(song.relative), book.keeping_for(song.relative))
        for song in found
    )
    return jobs, book.unmatched([song.relative for song in found])


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


def _book_settings(choice: BookChoice) -> BookSettings:
    path = choice.folder / SETTINGS_NAME
    if not path.exists():
        return BookSettings(choice.settings, choice.keeping)
    return read_book_settings(path, choice.settings, choice.keeping)
