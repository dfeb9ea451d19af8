"""Finds the songs of a folder and gives each the place where its files will go.

The folder's structure is mirrored. Two songs never share a place: where names would clash (also on
file systems that don't tell upper from lower case) the suffix of the song joins the name, then a
number. Characters that would garble a terminal or a path become ``_`` in the names of outputs.
"""

from __future__ import annotations

import os
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

SONG_SUFFIXES = frozenset(
    {
        ".mid", ".midi", ".kar", ".rmi", ".smf",
        ".abc", ".krn", ".mei", ".musicxml", ".mxl", ".xml",
    }
)  # fmt: skip
"""What is taken for a song, in any case of letters."""

RESERVED_STEMS = frozenset({"songbook"})
"""Names of the songbook's own files at the top of OUT."""

LONGEST_STEM = 120
"""Characters of an output's name; the suffixes come on top, and file systems allow 255 bytes."""


class Found(NamedTuple):
    """One song and its place."""

    source: Path
    relative: str
    """The song's path below the folder, with ``/`` on every system: its key in index and files."""
    place: str
    """Path below OUT of its outputs, without suffix, with ``/``."""


def find_songs(folder: Path, out: Path) -> list[Found]:
    """Return all songs below a folder in a fixed order, OUT and hidden folders left out.

    Links to folders are not followed, so a loop of links ends; links to songs are songs.

    Raises
    ------
    SettingsError
        If the folder isn't there or can't be listed.
    """
    if not folder.is_dir():
        raise SettingsError(
            "is no folder", file=folder, remedy="name the folder that holds the songs"
        )
    paths = sorted(_walk(folder, out.resolve()), key=lambda path: _relative(path, folder))
    places = _places([_relative(path, folder) for path in paths])
    return [
        Found(path, relative, place)
        for path, (relative, place) in zip(paths, places.items(), strict=True)
    ]


def _walk(folder: Path, out: Path) -> Iterator[Path]:
    def refuse(error: OSError) -> None:
        raise SettingsError(f"can't be listed: {error.strerror}", file=error.filename)

    for here, names, files in os.walk(folder, onerror=refuse):
        place = Path(here)
        names[:] = [
            name for name in names if not name.startswith(".") and (place / name).resolve() != out
        ]
        for name in files:
            if Path(name).suffix.lower() in SONG_SUFFIXES and not name.startswith("."):
                yield place / name


def _relative(path: Path, folder: Path) -> str:
    return path.relative_to(folder).as_posix()


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
