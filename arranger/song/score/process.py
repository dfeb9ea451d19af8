"""Scores are read in a process of their own, so that time and memory can be bounded.

music21 takes no limits: a line of ABC may ask for a note of hours, which it writes out bar by bar.
So a second Python process (`arranger.song.score.worker`) does the reading, and is ended when it
takes too long. It limits its own memory, and ends itself when its standard input closes, which is
when this process ends, in whatever way. It waits for the next score afterwards, since loading
music21 takes longer than reading many a score.
"""

from __future__ import annotations

import atexit
import os
import pickle
import subprocess
import threading
from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.errors import ArrangerError, LimitError, SongError
from arranger.lifeline import command_of

if TYPE_CHECKING:
    from arranger.settings import ReadSettings
    from arranger.song.model import Song

_BYTES_A_NOTE = 200
"""More than a pickled note takes."""


class Request(NamedTuple):
    """What a worker is asked to read."""

    data: bytes
    file: str
    """The file's name."""
    sha256: str
    settings: ReadSettings
    address_space: int | None
    """The limit of address space that this process has been given; None without one."""


class ReaderAnswer(NamedTuple):
    """What a worker says."""

    result: Song | ArrangerError
    reusable: bool
    """False when it holds so much memory that a fresh one is better."""


def read_apart(data: bytes, file: str, sha256: str, settings: ReadSettings) -> Song:
    """Read a score in another process; see `arranger.song.score.reading.read_score`.

    Raises `SongError` if the bytes are no score, or one that can't be read; `LimitError` if it
    holds more, or takes more time or memory, than the settings allow.
    """
    request = Request(data, file, sha256, settings, _address_space_limit())
    try:
        worker = _IDLE.pop()
    except IndexError:
        worker = _Worker()
    try:
        answer = worker.ask(request)
    except BaseException:  # an interrupt, too, must not leave it running
        worker.end()
        raise
    if answer.reusable and not _IDLE:
        _IDLE.append(worker)
    else:
        worker.end()
    if isinstance(answer.result, ArrangerError):
        raise answer.result
    return answer.result


class _Worker:
    """A process that reads scores, one at a time."""

    def __init__(self) -> None:
        try:
            self._process = subprocess.Popen(  # noqa: S603 - our own interpreter and code
                command_of("arranger.song.score.worker"),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        except OSError as error:
            raise SongError(
                f"the process that reads scores can't be started: {error.strerror or error}",
                remedy="export the score as MIDI",
            ) from error

    def ask(self, request: Request) -> ReaderAnswer:
        """Have a score read within its time."""
        settings = request.settings
        late = threading.Event()

        def stop() -> None:
            late.set()
            self._process.kill()

        timer = threading.Timer(settings.score_seconds, stop)
        timer.daemon = True
        timer.start()
        try:
            answer = self._exchange(request)
        except (OSError, EOFError):
            answer = None
        finally:
            timer.cancel()
        timer.join()
        if late.is_set():
            raise LimitError(
                f"reading the score takes more than {settings.score_seconds:g} seconds",
                remedy="raise the limit with --score-seconds, or export the score as MIDI",
            )
        if answer is None:
            raise SongError(
                f"the process that read the score broke down (status {self._process.wait()})",
                remedy="check it in a notation program, or export it as MIDI",
            )
        return answer

    def _exchange(self, request: Request) -> ReaderAnswer:
        to_worker, from_worker = self._process.stdin, self._process.stdout
        assert to_worker is not None  # noqa: S101 - for the type checker: both are pipes
        assert from_worker is not None  # noqa: S101
        send(to_worker, request)
        settings = request.settings
        return receive(from_worker, settings.max_bytes + _BYTES_A_NOTE * settings.max_notes)  # type: ignore[no-any-return]

    def end(self) -> None:
        """End the process and wait until it is gone."""
        self._process.kill()
        with self._process:
            pass


_IDLE: list[_Worker] = []
"""The worker that waits for the next score, if there is one."""


@atexit.register
def _end_idle() -> None:
    while _IDLE:
        _IDLE.pop().end()


if hasattr(os, "register_at_fork"):
    # A forked process has copies of the pipes, but the worker isn't its own.
    os.register_at_fork(after_in_child=_IDLE.clear)


def send(stream: Any, value: object) -> None:
    """Write a value, led by its length in bytes."""
    content = pickle.dumps(value)
    stream.write(len(content).to_bytes(8))
    stream.write(content)
    stream.flush()


def receive(stream: Any, most: int | None = None) -> Any:
    """Read what `send` wrote at the other end.

    Raises `EOFError` if the other end is closed; `LimitError` if the value takes more than ``most``
    bytes.
    """
    length = int.from_bytes(_exactly(stream, 8))
    if most is not None and length > most:
        raise LimitError(
            f"the score is larger than {most:,} bytes once read",
            remedy="raise the limit with --max-notes, or export the score as MIDI",
        )
    return pickle.loads(_exactly(stream, length))  # noqa: S301 - both ends are our own code


def _exactly(stream: Any, length: int) -> bytes:
    content: bytes = stream.read(length)
    if len(content) < length:
        raise EOFError
    return content


def _address_space_limit() -> int | None:
    try:
        import resource
    except ImportError:  # not on this system
        return None
    limit = resource.getrlimit(resource.RLIMIT_AS)[0]
    return None if limit == resource.RLIM_INFINITY else limit
