"""Finds the songs that are asked for and gives each the place where its files will go.

The structure of the folder is mirrored, of several the one of the folder that holds them all; a ZIP is
the folder that was packed. Two songs never share a place: where names would clash (also on
file systems that don't tell upper from lower case) the suffix of the song joins the name, then a
number. Characters that would garble a terminal or a path become ``_`` in the names of outputs.
"""

from __future__ import annotations

import os
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SettingsError
from arranger.settings import ReadSettings
from arranger.songbook.asked.archives import Member, is_zip, look_into

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

_MIDI_SUFFIXES = frozenset({".mid", ".midi", ".kar", ".rmi", ".smf"})
SONG_SUFFIXES = _MIDI_SUFFIXES | {".abc", ".krn", ".mei", ".musicxml", ".mxl", ".xml"}
"""What is taken for a song, in any case of letters."""

RESERVED_STEMS = frozenset({"songbook"})
"""Names of the songbook's own files at the top of OUT."""

LONGEST_STEM = 120
"""Characters of an output's name; the suffixes come on top, and file systems allow 255 bytes."""


_LARGEST = ReadSettings().max_bytes


class Found(NamedTuple):
    """One song and its place."""

    source: Path
    """Its file, or the ZIP that it is in."""
    relative: str
    """The song's path below the folder, with ``/`` on every system: its key in index and files."""
    place: str
    """Path below OUT of its outputs, without suffix, with ``/``."""
    member: Member | None = None
    """Where it is in a ZIP."""


class Songs(NamedTuple):
    """All songs that are asked for."""

    found: tuple[Found, ...]
    """In a fixed order."""
    folder: Path
    """The folder that holds them, or the ZIP."""
    beside: Mapping[str, Member]
    """What else a ZIP has at its top that a songbook may need, by name."""
    remarks: tuple[str, ...] = ()
    whole: bool = True
    """Whether it is all that is there, so that a song that isn't among them is gone."""


class _Source(NamedTuple):
    """A song before it has a place."""

    path: Path
    member: Member | None = None


def find_songs(sources: Sequence[Path], out: Path, largest: int = _LARGEST) -> Songs:
    """Return all songs of folders, ZIPs and files in a fixed order, each once.

    OUT and hidden folders are left out. Links to folders are not followed, so a loop of links ends;
    links to songs are songs. A file that is named is a song whatever it is called.

    ``sources``: one folder or ZIP, or several of both and of files.
    ``out``: where the outputs go.
    ``largest``: bytes that a song may have.

    Raises `SettingsError` if a folder isn't there or can't be listed, or a ZIP can't be read.
    """
    kinds = {path: _kind(path) for path in sources}
    alone = kinds[sources[0]] if len(kinds) == 1 else ""
    root = folder_of_all(sources)
    songs: dict[str, _Source] = {}
    beside: dict[str, Member] = {}
    remarks: tuple[str, ...] = ()
    for path, kind in kinds.items():
        if kind == "zip":
            packed = look_into(path, _is_wanted, largest)
            remarks += packed.remarks
            above = "" if alone else f"{_relative(path, root)}/"
            for relative, member in packed.members.items():
                if _is_song(PurePosixPath(relative).name):
                    songs[above + relative] = _Source(path, member)
                elif alone and "/" not in relative:
                    beside[relative] = member
        else:
            paths = _walk(path, out.resolve()) if kind == "folder" else (path,)
            songs |= {_relative(each, root): _Source(each) for each in paths}
    places = _places(sorted(songs))
    found = tuple(
        Found(songs[name].path, name, at, songs[name].member) for name, at in places.items()
    )
    return Songs(found, root, beside, remarks, whole="file" not in kinds.values())


def folder_of_all(sources: Sequence[Path]) -> Path:
    """Return the folder that holds all sources; of one folder or ZIP, itself.

    Raises `SettingsError` if one isn't there.
    """
    kinds = {path: _kind(path) for path in sources}
    if len(kinds) == 1 and kinds[sources[0]] != "file":
        return sources[0]
    folders = (path if kind == "folder" else path.parent for path, kind in kinds.items())
    whole = [os.path.abspath(folder) for folder in folders]  # noqa: PTH100 - links stay links
    return Path(os.path.commonpath(whole))


def is_midi(name: str) -> bool:
    """Return whether a song is called as MIDI files are."""
    return PurePosixPath(name).suffix.lower() in _MIDI_SUFFIXES


def _kind(path: Path) -> str:
    if path.is_dir():
        return "folder"
    if not _is_song(path.name) and is_zip(path):
        return "zip"
    if _is_song(path.name) or path.exists():
        return "file"  # one that isn't there fails as a song, and the others don't
    raise SettingsError("isn't there", file=path, remedy="name a folder of songs, songs, or a ZIP")


def _is_song(name: str) -> bool:
    return PurePosixPath(name).suffix.lower() in SONG_SUFFIXES and not name.startswith(".")


def _is_wanted(relative: str) -> bool:
    return _is_song(relative.rpartition("/")[2]) or relative.lower().endswith(".toml")


def _walk(folder: Path, out: Path) -> Iterator[Path]:
    def refuse(error: OSError) -> None:
        raise SettingsError(f"can't be listed: {error.strerror}", file=error.filename)

    for here, names, files in os.walk(folder, onerror=refuse):
        place = Path(here)
        names[:] = [
            name for name in names if not name.startswith(".") and (place / name).resolve() != out
        ]
        for name in files:
            if _is_song(name):
                yield place / name


def _relative(path: Path, folder: Path) -> str:
    """Return a path below a folder; ``..`` and such in how it was written don't matter."""
    return os.path.relpath(path, folder).replace(os.sep, "/")


def _places(relatives: Iterable[str]) -> dict[str, str]:
    """Return the place of each song; no two are equal when case is folded."""
    paths = {relative: PurePosixPath(relative) for relative in relatives}
    plain = {relative: _place(path, path.stem) for relative, path in paths.items()}
    wanted: dict[str, int] = {name.casefold(): 1 for name in RESERVED_STEMS}
    for place in plain.values():
        wanted[place.casefold()] = wanted.get(place.casefold(), 0) + 1
    taken: set[str] = set()
    result: dict[str, str] = {}
    for relative, place in plain.items():
        alone = wanted[place.casefold()] == 1 and place.casefold() not in RESERVED_STEMS
        result[relative] = place if alone else _free(paths[relative], taken, wanted)
        taken.add(result[relative].casefold())
    return result


def _free(path: PurePosixPath, taken: set[str], wanted: dict[str, int]) -> str:
    stem = f"{path.stem}-{path.suffix[1:].lower()}"
    place = _place(path, stem)
    number = 1
    while place.casefold() in taken or place.casefold() in wanted:
        number += 1
        place = _place(path, f"{stem}-{number}")
    return place


def _place(path: PurePosixPath, stem: str) -> str:
    return "/".join([*(_safe(part) for part in path.parent.parts), _safe(stem)])


def _safe(name: str) -> str:
    # Surrogates are bytes of a name that is no UTF-8; they can't be written into a text file.
    shown = "".join(c if c.isprintable() and c not in '\\:*?"<>|' else "_" for c in name)
    shown = shown.encode("utf-8", "replace").decode("utf-8")
    while len(shown.encode("utf-8")) > LONGEST_STEM:
        shown = shown[:-1]
    shown = shown.rstrip(" ")
    return "_" if shown.strip(".") == "" else shown
