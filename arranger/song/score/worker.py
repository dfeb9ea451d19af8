"""The process that reads scores: one after the other from standard input, until that closes.

See `arranger.song.score.process`, which starts it, ends it and bounds its time. What holds here:
memory, within the limit that the calling process has; and processor time, so that a worker whose
caller is gone ends even where it never comes back to Python. Systems without such limits (module
``resource``) bound the time only.
"""

from __future__ import annotations

import os
import queue
import signal
import sys
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from arranger.errors import ArrangerError, LimitError, SongError
from arranger.song.score.process import ReaderAnswer, Request, receive, send

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.song.model import Song

_KEPT = 500_000_000
"""Bytes of address space with which a worker is worth keeping."""


def main() -> None:
    """Answer requests until there are no more."""
    # Ctrl-C is the calling process's to handle; it ends this one.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever libraries print
    requests: queue.SimpleQueue[Request] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(requests,), daemon=True).start()
    while True:
        result = _answer(requests.get())
        send(answers, ReaderAnswer(result, address_space() < _KEPT))


def _listen(requests: queue.SimpleQueue[Request]) -> None:
    """Take requests down; end the process, whatever it is doing, when their source is gone."""
    try:
        while True:
            requests.put(receive(sys.stdin.buffer))
    finally:
        os._exit(0)


def _answer(request: Request) -> Song | ArrangerError:
    # Imported here, once a worker.
    from arranger.song.score.reading import read_score
    from arranger.song.sniff import score_of

    settings = request.settings
    wanted = settings.score_megabytes * 1_000_000
    _limit_processor_time(settings.score_seconds)
    with _memory_limit(wanted, request.address_space) as allowed:
        try:
            score = score_of(request.data, settings.max_bytes)
            return read_score(score, request.file, request.sha256, settings)
        except ArrangerError as error:
            return error
        except Exception as error:  # noqa: BLE001 - music21 raises whatever a score leads it into
            if not _out_of_memory(error):
                return _unreadable(error)
    option = "raise the limit with --score-megabytes" if allowed == wanted else "allow it more"
    return LimitError(
        f"reading the score takes more than {allowed // 1_000_000:,} megabytes of memory",
        remedy=f"{option}, or export the score as MIDI",
    )


def _unreadable(error: Exception) -> SongError:
    """Return what to say of a score that music21 can't read."""
    from xml.etree.ElementTree import ParseError

    from music21.exceptions21 import Music21Exception

    # Other errors speak of music21's insides, not of the score.
    told = isinstance(error, ParseError | Music21Exception) and str(error).strip()
    detail = told.partition("\n")[0] if told else "it holds what music21 doesn't expect"
    return SongError(
        f"the score can't be read: {detail}",
        remedy="check it in a notation program, or export it as MIDI",
    )


def _out_of_memory(error: BaseException | None) -> bool:
    """Return whether memory was short, also where a library took it for another failure."""
    while error is not None:
        if isinstance(error, MemoryError) or "out of memory" in str(error):
            return True
        error = error.__cause__ or error.__context__
    return False


@contextmanager
def _memory_limit(wanted: int, outer: int | None) -> Iterator[int]:
    """Allow so many bytes more within the limit from outside; yield how many that comes to."""
    resource = _resource()
    if resource is None:
        yield wanted
        return
    used = address_space()
    before, hard = resource.getrlimit(resource.RLIMIT_AS)
    limits = [limit for limit in (outer, hard) if limit not in {None, resource.RLIM_INFINITY}]
    total = min([used + wanted, *limits])
    resource.setrlimit(resource.RLIMIT_AS, (total, hard))
    try:
        yield max(total - used, 0)
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (before, hard))


def _limit_processor_time(seconds: float) -> None:
    resource = _resource()
    if resource is None:
        return
    spent = sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    wanted = int(spent + seconds) + 2
    soft = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
    resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))


def _resource() -> Any:
    try:
        import resource
    except ImportError:
        return None
    return resource


def address_space() -> int:
    """Return the bytes of address space that this process has (Linux; elsewhere 0)."""
    return _memory(0)


def resident() -> int:
    """Return the bytes of memory that this process fills (Linux; elsewhere 0)."""
    return _memory(1)


def _memory(column: int) -> int:
    try:
        with open("/proc/self/statm", "rb") as file:  # noqa: PTH123 - no path of the user's
            return int(file.read().split()[column]) * os.sysconf("SC_PAGE_SIZE")
    except OSError:
        return 0
