"""What a run tells while it goes on: its progress, and an overview that can be used already.

The overview is written again and again, at times that grow with what writing it takes: so that takes a
fortieth of the run, however many songs there are.
"""

from __future__ import annotations

import time
from contextlib import suppress
from typing import TYPE_CHECKING

from arranger.errors import ArrangerError
from arranger.songbook.progress import Pace
from arranger.songbook.shown.overview import write_overview

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from arranger.songbook.known.song_record import SongRecord
    from arranger.songbook.progress import Progress
    from arranger.songbook.working.line import JobQueue

FIRST_SECONDS = 3.0
"""After how long the overview is written first."""

AGAIN_SECONDS = 5.0
"""How soon it is written again, at the earliest."""

SHARE = 40
"""One in so many parts of the time goes into it, at most."""


class Telling:
    """Tells of a run that goes on.

    ``order``: all songs by their relative paths, in the order of the overview.
    ``records``: those that are done with; grows from outside.
    ``earlier``: those of the run before: they tell of what stands there until it is done again.
    ``line``: what is to be done.
    ``out``: where the overview goes.
    ``progress``: is told how far the run has come.
    ``limit``: seconds that a song may take.
    """

    def __init__(
        self,
        order: Sequence[str],
        records: Mapping[str, SongRecord],
        earlier: Mapping[str, SongRecord],
        line: JobQueue,
        out: Path,
        progress: Callable[[Progress], None],
        limit: float,
    ) -> None:
        self._order, self._records, self._earlier = order, records, earlier
        self._out, self._progress = out, progress
        self._left, self._todo = len(records), len(line)
        self._pace = Pace(line, limit)
        self._wait = AGAIN_SECONDS
        self._due = time.monotonic() + FIRST_SECONDS
        self._again = False

    def tell(self) -> None:
        """Tell what is due."""
        if self._pace.is_due():
            self._progress(self._state())
        if time.monotonic() >= self._due:
            self._write(self._state())

    def finish(self) -> tuple[Path, ...]:
        """Tell of the end; return the overview's files."""
        if self._todo:
            self._progress(self._state())
        return write_overview(self._standing(), self._out, again=self._again)

    def stop(self) -> None:
        """Write that the run has ended before its end, if there is anything to tell."""
        if not self._again and len(self._records) == self._left:
            return
        with suppress(ArrangerError):  # what went wrong first is what must be told
            self._write(self._state()._replace(stopped=True))

    def _write(self, state: Progress) -> None:
        began = time.monotonic()
        write_overview(self._standing(), self._out, state, again=self._again)
        self._again = True
        ended = time.monotonic()
        self._wait = max(AGAIN_SECONDS, SHARE * (ended - began))
        self._due = ended + self._wait

    def _standing(self) -> tuple[SongRecord, ...]:
        found = (self._records.get(song) or self._earlier.get(song) for song in self._order)
        return tuple(record for record in found if record is not None)

    def _state(self) -> Progress:
        state = self._pace.now(len(self._records), len(self._order))
        return state._replace(again_seconds=round(self._wait))
