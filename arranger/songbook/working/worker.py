"""The process that converts songs: one after the other from standard input, until that closes.

See `arranger.songbook.working.apart`, which starts it and ends it.
"""

from __future__ import annotations

import gc
import os
import sys
from typing import TYPE_CHECKING, NamedTuple

from arranger.lifeline import start_worker
from arranger.song.score.process import receive, send
from arranger.song.score.worker import resident

if TYPE_CHECKING:
    from arranger.songbook.known.song_record import SongRecord

_YOUNG = 100_000
"""Objects that are made before garbage is looked for: conversions make many and no rings."""

_KEPT_BYTES = 500_000_000
"""Memory with which a worker is worth keeping."""


class WorkerAnswer(NamedTuple):
    """What a worker says."""

    record: SongRecord
    reusable: bool
    """False when it holds so much memory that a fresh one is better."""


def main() -> None:
    """Convert songs until there are no more."""
    start_worker(os.getppid())
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever libraries print
    from arranger.songbook.working.work import do_job

    gc.set_threshold(_YOUNG)
    gc.freeze()  # what is imported is no garbage
    send(answers, True)  # ready
    while True:
        try:
            job = receive(sys.stdin.buffer)
        except EOFError:
            return
        record = do_job(job)
        send(answers, WorkerAnswer(record, resident() < _KEPT_BYTES))
