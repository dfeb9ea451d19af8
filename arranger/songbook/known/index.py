"""The index in OUT: what was made from which bytes with which settings, so that nothing is redone.

An SQLite file. It is held locked while a run goes on, which also keeps a second run out; the lock
goes with the process, however it ends. A song's row is written when its outputs are complete, so a
run that was killed finds either the finished song or none. Each row carries a digest of itself; an
index of which anything at all is not as this version wrote it is thrown away and built anew, which
costs time but no edit: whether a sheet was edited is told by the sheet.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import OutputError
from arranger.songbook.known.program import Program
from arranger.songbook.known.song_record import SongRecord
from arranger.songbook.known.why import Made

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

NAME = "songbook.index"

_TABLES = (
    """CREATE TABLE songs (
    relative TEXT PRIMARY KEY,
    made TEXT NOT NULL,
    outputs TEXT NOT NULL,
    record TEXT NOT NULL,
    digest TEXT NOT NULL
) WITHOUT ROWID""",
    """CREATE TABLE program (
    said TEXT NOT NULL,
    digest TEXT NOT NULL
)""",
)

_BESIDE = ("", "-wal", "-shm", "-journal")
"""Suffixes of the files that make up the index."""

_OUTSIDE = frozenset(
    {
        sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_FULL, sqlite3.SQLITE_PERM,
        sqlite3.SQLITE_NOMEM, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_AUTH,
    }
)  # fmt: skip
"""Errors that come from around the index, which building it anew would not mend."""

REBUILT = "was damaged or of another version and is built anew, so all songs are converted again"


class Known(NamedTuple):
    """What the index knows of a song."""

    made: Made
    outputs: Mapping[str, str]
    """Of the files written, as `arranger.songbook.known.why.output_stamps` says it."""
    record: SongRecord


class _DamagedError(Exception):
    """The index is not as this version wrote it."""


class Index:
    """The opened index; get one from `opened`."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self._path, self._connection = path, connection
        self.known: dict[str, Known] = {}
        """What was known when it was opened, by the song's relative path."""
        self.program: Program | None = None
        """The program that ran last."""
        self.interrupted = False
        """Whether the run before was killed: it may have left files half written."""
        self.rebuilt = False
        """Whether what stood there was damaged."""

    def remember(self, relative: str, known: Known) -> None:
        """Write what is now known of a song."""
        # JSON in ASCII: names that are no UTF-8 hold surrogates, which SQLite can't store.
        row = (
            json.dumps(relative),
            json.dumps(known.made),
            json.dumps(known.outputs),
            known.record.to_json(),
        )
        with _told(self._path):
            self._connection.execute(
                "INSERT OR REPLACE INTO songs VALUES (?, ?, ?, ?, ?)", (*row, _digest(row))
            )

    def note_program(self, program: Program) -> None:
        """Write which program runs."""
        if program != self.program:
            row = (json.dumps(program),)
            with _told(self._path):
                self._connection.execute("DELETE FROM program")
                self._connection.execute("INSERT INTO program VALUES (?, ?)", (*row, _digest(row)))

    def save(self) -> None:
        """Make everything remembered so far survive a kill."""
        with _told(self._path):
            self._connection.execute("COMMIT")
            self._connection.execute("BEGIN IMMEDIATE")

    def forget(self, relatives: Iterable[str]) -> None:
        """Take out songs that are no longer in the folder."""
        with _told(self._path):
            self._connection.executemany(
                "DELETE FROM songs WHERE relative = ?",
                [(json.dumps(relative),) for relative in relatives],
            )

    def finish(self) -> None:
        """Save, and note that this run came to its end."""
        with _told(self._path):
            self._connection.execute("PRAGMA user_version = 0")
            self._connection.execute("COMMIT")

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()


@contextmanager
def opened(out: Path) -> Iterator[Index]:
    """Open and lock the index of an output folder; what was remembered is saved at the end.

    Raises `OutputError` if another run holds it or it can't be written. One that is damaged is
    built anew.
    """
    path = out / NAME
    with _told(path):
        out.mkdir(parents=True, exist_ok=True)
        try:
            index = _begun(path)
        except _DamagedError:
            for suffix in _BESIDE:
                path.with_name(NAME + suffix).unlink(missing_ok=True)
            index = _begun(path)
            index.rebuilt = True
    try:
        yield index
        index.finish()
    except BaseException:
        with suppress(OutputError):  # what went wrong first is what must be told
            index.save()
        raise
    finally:
        index.close()


def looked_at(out: Path) -> Index | None:
    """Return the index of an output folder, closed; None if there is none.

    Nothing is written there: a copy is opened. One that is of no use is as if ``rebuilt``.
    """
    if not (out / NAME).is_file():
        return None
    with tempfile.TemporaryDirectory() as place:
        copy = Path(place) / NAME
        try:
            for suffix in _BESIDE:
                with suppress(FileNotFoundError):
                    shutil.copyfile(out / f"{NAME}{suffix}", f"{copy}{suffix}")
            index = _begun(copy)
        except (_DamagedError, OSError, sqlite3.Error):
            copy.unlink(missing_ok=True)
            index = _begun(copy)
            index.rebuilt = True
        index.close()
    return index


def _begun(path: Path) -> Index:
    """Return the index at a path, checked to the last row and locked, or a fresh one."""
    there = path.exists()
    connection = sqlite3.connect(path, timeout=0, isolation_level=None)
    try:
        connection.execute("PRAGMA locking_mode=EXCLUSIVE")
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("BEGIN IMMEDIATE")
        if not there:
            for table in _TABLES:
                connection.execute(table)
        index = Index(path, connection)
        index.known, index.program = _checked(connection)
        (running,) = connection.execute("PRAGMA user_version").fetchone()
        index.interrupted = bool(running) or not there
        connection.execute("PRAGMA user_version = 1")
        index.save()
    except BaseException as error:
        connection.close()
        if _is_damage(error, path):
            raise _DamagedError from error
        raise
    return index


def _checked(connection: sqlite3.Connection) -> tuple[dict[str, Known], Program | None]:
    """Return everything known, or raise one of many errors if anything isn't as it was written."""
    tables = connection.execute("SELECT sql FROM sqlite_master ORDER BY rowid").fetchall()
    sound = connection.execute("PRAGMA integrity_check(1)").fetchone()
    if tables != [(table,) for table in _TABLES] or sound != ("ok",):
        raise _DamagedError
    known: dict[str, Known] = {}
    for relative, made, outputs, record in _rows(connection, "songs"):
        known[json.loads(relative)] = Known(
            Made(*json.loads(made)), json.loads(outputs), SongRecord.from_json(record)
        )
    programs = [Program(*json.loads(said)) for (said,) in _rows(connection, "program")]
    return known, programs[0] if programs else None


def _rows(connection: sqlite3.Connection, table: str) -> Iterator[list[str]]:
    """Yield the rows of a table, each without its digest."""
    for *row, digest in connection.execute(f"SELECT * FROM {table}"):  # noqa: S608 - a name of ours
        if digest != _digest(row):
            raise _DamagedError
        yield row


def _digest(row: Iterable[str]) -> str:
    return hashlib.sha256("\0".join(row).encode()).hexdigest()


def _is_damage(error: BaseException, path: Path) -> bool:
    """Return whether an error tells that the index itself is at fault."""
    if not isinstance(error, sqlite3.Error):
        # Rows of other types or another version end up here.
        return isinstance(error, _DamagedError | ValueError | TypeError | LookupError)
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT)
    if code == sqlite3.SQLITE_IOERR_SHORT_READ:
        return True
    if code & 0xFF == sqlite3.SQLITE_READONLY:
        return os.access(path, os.W_OK)  # then only the index says that it mustn't be written
    return code & 0xFF not in _OUTSIDE | {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what goes wrong with the index into one line with the fitting advice."""
    try:
        yield
    except OutputError:
        raise
    except (OSError, sqlite3.Error) as error:
        raise _refused(path, error) from error


def _refused(path: Path, error: Exception) -> OutputError:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return OutputError(
            "another run is writing this songbook",
            file=path,
            remedy="wait for it to end, or choose another folder with -o",
        )
    if path.is_dir():
        return OutputError(
            "is a folder where the index of the songbook must be",
            file=path,
            remedy="move it away, or choose another folder with -o",
        )
    shut = next((p for p in (path, path.parent) if p.exists() and not os.access(p, os.W_OK)), None)
    if shut is not None:
        return OutputError(
            "is read-only", file=shut, remedy="make it writable, or choose another folder with -o"
        )
    if code == sqlite3.SQLITE_CORRUPT or code == sqlite3.SQLITE_NOTADB:
        return OutputError("was damaged while in use", file=path, remedy="start the run again")
    return OutputError(
        f"can't be written: {getattr(error, 'strerror', None) or error}",
        file=path,
        remedy="free the space, or choose another folder with -o",
    )
