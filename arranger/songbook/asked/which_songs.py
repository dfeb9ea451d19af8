"""What is asked of a songbook: which songs, how, and with what settings each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SettingsError, SongError
from arranger.sheet.keep import NOT_KEPT, Keeping
from arranger.songbook.asked.archives import read_member
from arranger.songbook.asked.find import find_songs
from arranger.songbook.asked.job import Job
from arranger.songbook.asked.settings import NAME as SETTINGS_NAME
from arranger.songbook.asked.settings import BookSettings, parse_book_settings, read_book_settings

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from arranger.settings import Settings
    from arranger.songbook.asked.find import Found, Songs

MOST_TEXT = 1_000_000
"""Bytes of ``songbook.toml`` and of engines' files that are read from a ZIP."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BookChoice:
    """How a songbook is converted."""

    sources: tuple[Path, ...]
    """One folder or ZIP of songs, or several of both and of songs."""
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


class AskedSongs(NamedTuple):
    """All songs as they would be converted."""

    jobs: tuple[Job, ...]
    """In order."""
    remarks: tuple[str, ...]
    engines: Mapping[str, bytes]
    """What files of engines in a ZIP hold, by the path at which the jobs expect them."""
    whole: bool
    """As in `arranger.songbook.asked.find.Songs`."""


def asked_songs(choice: BookChoice) -> AskedSongs:
    """Return the songs that are asked for, with what becomes of each; nothing is written.

    Raises `SettingsError` if the folder, a ZIP or ``songbook.toml`` is wrong.
    """
    songs = find_songs(choice.sources, choice.out, choice.settings.read.max_bytes)
    engines: dict[str, bytes] = {}
    book = _book_settings(choice, songs, engines)
    jobs = tuple(
        _job(choice, song, book.for_song(song.relative), book.keeping_for(song.relative))
        for song in songs.found
    )
    # Of a few songs that are named it is no news that tables for others don't fit them.
    unmatched = book.unmatched([song.relative for song in songs.found]) if songs.whole else ()
    return AskedSongs(jobs, (*songs.remarks, *unmatched), engines, songs.whole)


def _job(choice: BookChoice, song: Found, settings: Settings, keeping: Keeping) -> Job:
    return Job(
        source=song.source,
        member=song.member,
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


def _book_settings(choice: BookChoice, songs: Songs, engines: dict[str, bytes]) -> BookSettings:
    """Return what ``songbook.toml`` says, which lies in the folder, in the ZIP, or beside the ZIP."""
    member = songs.beside.get(SETTINGS_NAME)
    if member is not None:
        return parse_book_settings(
            _text_in(songs, SETTINGS_NAME),
            songs.folder / SETTINGS_NAME,
            choice.settings,
            choice.keeping,
            lambda name: _unpacked_engine(choice, songs, name, engines),
        )
    folder = songs.folder if songs.folder.is_dir() else songs.folder.parent
    path = folder / SETTINGS_NAME
    if not path.exists():
        return BookSettings(choice.settings, choice.keeping)
    return read_book_settings(path, choice.settings, choice.keeping)


def _unpacked_engine(
    choice: BookChoice, songs: Songs, name: str, engines: dict[str, bytes]
) -> str | None:
    """Return where an engine's file of a ZIP goes: into OUT, where the sheets need it too."""
    if name not in songs.beside or name == SETTINGS_NAME:
        return None
    path = str(choice.out / name)
    engines[path] = _text_in(songs, name)
    return path


def _text_in(songs: Songs, name: str) -> bytes:
    """Return a small file of a ZIP."""
    try:
        return read_member(songs.folder, songs.beside[name], MOST_TEXT)
    except SongError as error:
        raise SettingsError(error.what, file=songs.folder / name) from error
