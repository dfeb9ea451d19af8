"""``songbook.toml``: settings for all songs of a folder, and for some of them.

    [defaults]
    engine = "twin-counter"
    drums = "light"

    [songs."marches/parade.mid"]
    tune = "trumpet"
    step = "1/4"

Keys are the long options of ``arranger convert`` without dashes. A song's name is its path below
the folder, or a pattern with ``*`` and ``?``; later tables win over earlier ones. ``false`` or
``[]`` takes an option back to what the program does unasked. ``keep-edits`` is true, false or
"as-typed", ``song-changed`` true or false. An engine's file is looked for beside
``songbook.toml`` first. Everything is checked before any song is converted.
"""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import ArrangerError, SettingsError
from arranger.options import build_settings
from arranger.sheet.keep import NOT_KEPT, Keeping

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping
    from pathlib import Path

    from arranger.settings import Settings

NAME = "songbook.toml"
_TABLES = ("defaults", "songs")
_OF_KEEPING: dict[str, tuple[object, ...]] = {
    "keep-edits": (True, False, "as-typed"),
    "song-changed": (True, False),
}
"""Options of the command that are no settings of the conversion, and what they can be."""


class BookTable(NamedTuple):
    """One table of songs: whom it is for and what it says."""

    pattern: str
    words: Mapping[str, object]
    place: str
    """Its line, for messages."""

    def fits(self, relative: str) -> bool:
        """Return whether it is for the song at a path below the folder."""
        return self.pattern == relative or fnmatchcase(relative, self.pattern)


@dataclass(frozen=True, slots=True)
class BookSettings:
    """What a songbook's file says, checked."""

    defaults: Settings
    keeping: Keeping = NOT_KEPT
    songs: tuple[BookTable, ...] = ()
    """In the order of the file."""

    def for_song(self, relative: str) -> Settings:
        """Return the settings of the song at a path below the folder."""
        settings = self.defaults
        for table in self.songs:
            if table.fits(relative):
                settings = build_settings(_of_settings(table.words), settings)
        return settings

    def keeping_for(self, relative: str) -> Keeping:
        """Return what becomes of edits of the song at a path below the folder."""
        keeping = self.keeping
        for table in self.songs:
            if table.fits(relative):
                keeping = _keeping(table.words, keeping)
        return keeping

    def unmatched(self, relatives: Collection[str]) -> tuple[str, ...]:
        """Return a remark on each table that none of the songs answers to."""
        return tuple(
            f"{NAME}: {table.place}: no song is called {table.pattern!r}"
            for table in self.songs
            if not any(table.fits(relative) for relative in relatives)
        )


def read_book_settings(path: Path, base: Settings, keeping: Keeping = NOT_KEPT) -> BookSettings:
    """Return the settings of a file on top of those given on the command line.

    Raises `SettingsError` if the file is no TOML, or a table, key or value is wrong; with its line.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise SettingsError(f"can't be read: {error.strerror}", file=path) from error

    def beside(name: str) -> str | None:
        found = path.parent / name
        return str(found) if found.is_file() else None

    return parse_book_settings(content, path, base, keeping, beside)


def parse_book_settings(
    content: bytes,
    path: Path,
    base: Settings,
    keeping: Keeping,
    beside: Callable[[str], str | None],
) -> BookSettings:
    """Return the settings that the bytes of a file say; see `read_book_settings`.

    ``content``: of the file.
    ``path``: its name, for messages.
    ``base``, ``keeping``: what is asked for on the command line.
    ``beside``: returns the path of an engine's file that lies beside it, or None.
    """
    try:
        text = content.decode("utf-8")
        tables = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(f"is no valid TOML: {error}", file=path) from error
    for name in tables:
        if name not in _TABLES:
            raise SettingsError(
                f"there is no table [{name}]",
                file=path,
                place=_line(text, None, name),
                remedy='the tables are [defaults] and [songs."NAME"]',
            )
    of_all = tables.get("defaults", {})
    defaults = _checked(of_all, base, path, text, "defaults", beside)
    songs = tables.get("songs", {})
    if not isinstance(songs, dict):
        raise SettingsError('songs is no table of tables, like [songs."a.mid"]', file=path)
    for pattern, words in songs.items():
        _checked(words, defaults, path, text, pattern, beside)
    return BookSettings(
        defaults,
        _keeping(of_all, keeping),
        tuple(
            BookTable(pattern, words, _line(text, None, pattern) or "songs")
            for pattern, words in songs.items()
        ),
    )


def _checked(
    words: object,
    base: Settings,
    path: Path,
    text: str,
    table: str,
    beside: Callable[[str], str | None],
) -> Settings:
    """Return the settings with those of a table, whose engine file it gives its full name."""
    if not isinstance(words, dict):
        raise SettingsError(f"{table!r} is no table", file=path, place=_line(text, None, table))
    settings = base
    for key, value in words.items():
        if key == "engine" and isinstance(value, str):
            words[key] = beside(value) or value
        try:
            _keeping({key: value}, NOT_KEPT)
            settings = build_settings(_of_settings({key: words[key]}), settings)
        except ArrangerError as error:
            raise SettingsError(
                error.what, file=path, place=_line(text, table, key), remedy=error.remedy
            ) from error
    return settings


def _of_settings(words: Mapping[str, object]) -> dict[str, object]:
    return {key: value for key, value in words.items() if key not in _OF_KEEPING}


def _keeping(words: Mapping[str, object], keeping: Keeping) -> Keeping:
    """Return what becomes of edits, as a table says on top of what held before.

    Raises `SettingsError` if a value is none.
    """
    for key, values in _OF_KEEPING.items():
        if key in words and words[key] not in values:
            told = " or ".join(json.dumps(value) for value in values)
            raise SettingsError(f"{key} = {words[key]!r} says nothing", remedy=f"write {told}")
    if "keep-edits" in words:
        kept = words["keep-edits"]
        keeping = keeping._replace(edits=bool(kept), as_typed=kept == "as-typed")
    if "song-changed" in words:
        keeping = keeping._replace(song_changed=bool(words["song-changed"]))
    return keeping


def _line(text: str, table: str | None, key: str) -> str | None:
    """Return "line N" of a key within a table, as well as plain search can tell."""
    inside = table is None
    for number, line in enumerate(text.splitlines(), 1):
        header = re.match(r"\s*\[\s*(?:songs\s*\.\s*)?[\"']?(.*?)[\"']?\s*\]\s*(#.*)?$", line)
        if header is not None:
            name = header[1].replace("\\", "")
            if table is None and (name == key or name.startswith(f"{key}.")):
                return f"line {number}"
            inside = table is None or name == table
        elif inside and re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*[=.]", line):
            return f"line {number}"
    return None
