"""Undo and redo: another version of a sheet's history takes its place."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import OutputError, SheetError
from arranger.files import check_target, write_bytes, writes_through
from arranger.sheet.history.differing import differing
from arranger.sheet.history.file import (
    HELD,
    found_in,
    history_path,
    read_history,
    save,
    taking_turns,
    unreadable,
    why_not_kept,
    with_found,
)
from arranger.sheet.history.versions import (
    DamagedError,
    TooLargeError,
    after,
    before,
    content_of,
    contents,
    moved,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from arranger.sheet.history.versions import History, Version


class Restored(NamedTuple):
    """What undo or redo did."""

    history: History
    """As it is now."""
    left: Version | None
    """The version that stood in the file before; None if there was no file any more."""
    content_left: bytes
    content: bytes
    """What stands there now."""


def undo(path: str | Path, steps: int = 1) -> Restored:
    """Write the version that stood in a sheet's file before, or one some steps before that.

    What stands there is noted first. A file that is gone comes back as it was.

    Raises `SheetError` if the history can't be read or doesn't know so many versions; `OutputError`
    if sheet or history can't be written.
    """

    def earlier(history: History, gone: bool) -> int:
        standing = history.version(history.now)
        way = before(history)
        return _chosen((standing, *way) if gone and standing else way, steps, "earlier", path)

    return _move(path, earlier)


def redo(path: str | Path, steps: int = 1) -> Restored:
    """Write what undo took back, the nearest version first; raises as `undo` does."""

    def later(history: History, _gone: bool) -> int:
        return _chosen(after(history), steps, "later", path)

    return _move(path, later)


def go_to(path: str | Path, number: int) -> Restored:
    """Write the version of a number; raises as `undo` does."""

    def asked(history: History, _gone: bool) -> int:
        if history.version(number) is None:
            raise SheetError(
                f"version {number} isn't known", file=path, remedy="see arranger undo --list"
            )
        return number

    return _move(path, asked)


def listed(path: str | Path) -> tuple[History, list[tuple[Version, str]]]:
    """Return the history of a sheet, and of each version what differs from the one before it.

    Raises `SheetError` if it can't be read.
    """
    history = read_history(path)
    texts: dict[int, bytes] = {}
    told: dict[int, str] = {}
    waiting: dict[int, list[int]] = {}
    try:
        for version, content in contents(history):
            for number in waiting.pop(version.number, ()):
                told[number] = str(differing(content, texts.pop(number)))
            texts[version.number] = content
            waiting.setdefault(version.before, []).append(version.number)
    except DamagedError as error:
        raise unreadable(path) from error
    return history, [(version, told.get(version.number, "")) for version in history.versions]


def _chosen(way: Sequence[Version], steps: int, which: str, path: str | Path) -> int:
    if steps > len(way):
        count = f"only {len(way)}" if way else "no"
        raise SheetError(
            f"{count} {which} version{'s are' if len(way) > 1 else ' is'} known",
            file=path,
            remedy="see arranger undo --list",
        )
    return way[steps - 1].number


def _move(path: str | Path, choose: Callable[[History, bool], int]) -> Restored:
    path = Path(path)
    check_target(path)
    if writes_through(path):
        raise OutputError("is no plain file, so it has no history", file=path)
    with taking_turns(path) as ours:
        if not ours:
            raise OutputError(HELD, file=history_path(path), remedy="wait for it to end")
        history = read_history(path)
        try:
            found = found_in(path)
            if found is not None:
                known = with_found(history, found, path)
                if len(known.versions) > 1:
                    history = known
                    save(history, path)
            left = None if found is None else history.version(history.now)
            number = choose(history, found is None)
            content = content_of(history, number)
            write_bytes(path, content)
            history = moved(history, number)
            save(history, path)
        except DamagedError as error:
            raise unreadable(path) from error
        except TooLargeError as error:  # taking that back would lose it
            raise SheetError(
                why_not_kept(error),
                file=history_path(path),
                remedy="keep a copy of the sheet elsewhere",
            ) from error
    return Restored(history, left, found or b"", content)
