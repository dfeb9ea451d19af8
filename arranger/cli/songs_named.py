"""The songs that a command line names: paths, and lists of paths."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

STANDARD_INPUT = "-"
LIST = "@"


def songs_named(words: Iterable[str]) -> tuple[Path, ...]:
    """Return the paths that some words name.

    Parameters
    ----------
    words
        Paths; ``@FILE`` for those in a file, one a line, and ``-`` for those on standard input. They
        count from the folder where the command is given.

    Raises
    ------
    SettingsError
        If a list can't be read, or nothing is named.
    """
    paths = tuple(path for word in words for path in _paths(word))
    if not paths:
        raise SettingsError("the list names no song", remedy="write one path a line")
    return paths


def _paths(word: str) -> Iterator[Path]:
    if word == STANDARD_INPUT:
        yield from _listed(sys.stdin.buffer.read())
    elif word.startswith(LIST):
        path = Path(word.removeprefix(LIST))
        try:
            yield from _listed(path.read_bytes())
        except OSError as error:
            raise SettingsError(
                f"the list can't be read: {error.strerror}",
                file=path,
                remedy=f"for a file of that name write ./{word}",
            ) from error
    else:
        yield Path(word)


def _listed(content: bytes) -> Iterator[Path]:
    for line in content.removeprefix(b"\xef\xbb\xbf").split(b"\n"):
        name = os.fsdecode(line.removesuffix(b"\r"))
        if name.strip():
            yield Path(name)
