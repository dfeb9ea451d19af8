"""The index in OUT: what was made from which bytes with which settings, so that nothing is redone.

An SQLite file. It is held locked while a run goes on, which also keeps a second run out; the lock
goes with the process, however it ends. A song's row is written when its outputs are complete, so a
run that was killed finds either the finished song or none.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from contextlib import contextmanager
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import OutputError
from arranger.options import command_line
from arranger.songbook.record import Record
from arranger.version import VERSION

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from arranger.settings import Settings

NAME = "songbook.index"

_TABLE = """
CREATE TABLE IF NOT EXISTS songs (
    relative TEXT PRIMARY KEY,
    key TEXT NOT NULL,
    sizes TEXT NOT NULL,
    record TEXT NOT NULL
) WITHOUT ROWID
"""


class Known(NamedTuple):
    """What the index knows of a song."""

    key: str
    sizes: str
    record: Record


def settings_key(settings: Settings) -> str:
    """Return what the outputs depend on besides the song and its place, as text."""
    return "\0".join((VERSION, command_line(settings), _engine_digest(settings.engine)))


def song_key(content: bytes, settings: str, place: str, outputs: str) -> str:
    """Return a digest of all that the outputs depend on; ``settings`` is a `settings_key`."""
    parts = (settings, place, outputs)
    digest = hashlib.sha256("\0".join(parts).encode("utf-8", "surrogateescape"))
    digest.update(hashlib.sha256(content).digest())
    return digest.hexdigest()


def output_sizes(folder: Path, names: Iterable[str]) -> str:
    """Return names, sizes and times of outputs as text; a missing one makes it differ."""
    found = []
    for name in names:
        try:
            state = os.stat(folder / name)  # noqa: PTH116 - a fifth of the time of Path.stat
        except OSError:
            found.append(f"{name}:gone")
        else:
            found.append(f"{name}:{state.st_size}:{state.st_mtime_ns}")
    return "|".join(found)


class Index:
    """The opened index; get one from `opened`."""

    def __init__(self, connection: sqlite3.Connection, *, interrupted: bool) -> None:
        self._connection = connection
        self.interrupted = interrupted
        """Whether the run before was killed: it may have left files half written."""

    def known(self) -> dict[str, Known]:
        """Return everything known, by the song's relative path."""
        rows = self._connection.execute("SELECT relative, key, sizes, record FROM songs")
        return {
            json.loads(relative): Known(key, sizes, Record.from_json(record))
            for relative, key, sizes, record in rows
        }

    def remember(self, relative: str, known: Known) -> None:
        """Write what is now known of a song."""
        # JSON in ASCII: names that are no UTF-8 hold surrogates, which SQLite can't store.
        self._connection.execute(
            "INSERT OR REPLACE INTO songs VALUES (?, ?, ?, ?)",
            (json.dumps(relative), known.key, known.sizes, known.record.to_json()),
        )

    def save(self) -> None:
        """Make everything remembered so far survive a kill."""
        self._connection.execute("COMMIT")
        self._connection.execute("BEGIN IMMEDIATE")

    def forget(self, relatives: Iterable[str]) -> None:
        """Take out songs that are no longer in the folder."""
        self._connection.executemany(
            "DELETE FROM songs WHERE relative = ?",
            [(json.dumps(relative),) for relative in relatives],
        )


@contextmanager
def opened(out: Path) -> Iterator[Index]:
    """Open and lock the index of an output folder; what was remembered is saved at the end.

    Raises
    ------
    OutputError
        If another run holds it, or it can't be written or is damaged.
    """
    path = out / NAME
    try:
        out.mkdir(parents=True, exist_ok=True)
        connection = sqlite3.connect(path, timeout=0, isolation_level=None)
    except (OSError, sqlite3.Error) as error:
        raise _refused(path, error) from error
    try:
        try:
            connection.execute("PRAGMA locking_mode=EXCLUSIVE")
            connection.execute("PRAGMA journal_mode=WAL")
            connection.execute("BEGIN IMMEDIATE")
            connection.execute(_TABLE)
            (running,) = connection.execute("PRAGMA user_version").fetchone()
            connection.execute("PRAGMA user_version = 1")
            index = Index(connection, interrupted=bool(running))
            index.save()
        except sqlite3.Error as error:
            raise _refused(path, error) from error
        yield index
        connection.execute("PRAGMA user_version = 0")
        connection.execute("COMMIT")
    finally:
        connection.close()


def _refused(path: Path, error: Exception) -> OutputError:
    if isinstance(error, sqlite3.OperationalError) and "locked" in str(error):
        return OutputError(
            "another run is writing this songbook",
            file=path,
            remedy="wait for it to end, or choose another folder with -o",
        )
    if isinstance(error, sqlite3.DatabaseError) and "not a database" in str(error):
        return OutputError(
            "is damaged", file=path, remedy="remove it; then every song is converted again"
        )
    return OutputError(f"can't be written: {error}", file=path, remedy="choose another folder")


def _engine_digest(engine: str) -> str:
    # A user's engine file may change under the same name.
    if not engine.endswith(".toml"):
        return ""
    try:
        with open(engine, "rb") as file:  # noqa: PTH123 - the name is text from the user
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""
