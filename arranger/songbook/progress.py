"""How far a run has come: what the terminal, the page and songbook.json tell while it goes on."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.songbook.working.line import JobQueue, Load

PROGRESS_SECONDS = 0.2
"""How soon progress is told again, at the earliest."""

_FEWEST = 4
"""Songs before anything is foretold."""

_SOONEST_SECONDS = 2.0
"""Time before anything is foretold."""

_SONG_BYTES = 15_000
"""What is the same for all songs takes as long as so many bytes of a song; measured, roughly."""

_OVERDUE = 4
"""Nothing is foretold of songs that take so many times as long as their length lets expect."""

_OVERDUE_SECONDS = 5.0
"""How long a song may take in any case before that is said of it."""


class Progress(NamedTuple):
    """How far a run has come."""

    done: int
    """Songs that are done with, those among them that had nothing to change."""
    songs: int
    """Songs in all."""
    seconds_left: float | None = None
    """How long it will take yet; None as long as nobody can tell."""
    at_most: bool = False
    """Whether that is a limit, not what is likely: the last songs may never end."""
    again_seconds: int = 10
    """How soon the overview is written again, at the latest."""
    stopped: bool = False
    """Whether the run has ended before its end."""

    @property
    def left(self) -> str:
        """What to say of the time left; empty when nobody can tell."""
        if self.seconds_left is None:
            return ""
        return f"{'at most' if self.at_most else 'about'} {spoken_time(self.seconds_left)} left"


class Estimate(NamedTuple):
    """How long a run will take yet."""

    seconds: float | None
    at_most: bool = False


def estimate(
    done: Load, ahead: Load, seconds: float, at_work: Sequence[float], limit: float
) -> Estimate:
    """Return how long a run will take yet, from how long it took so far.

    ``done``: what was converted in that time.
    ``ahead``: what isn't done yet.
    ``seconds``: how long the run has gone on.
    ``at_work``: for how many seconds each song that is being converted has been.
    ``limit``: seconds that a song may take.
    """
    likely = None
    if ahead.songs and done.songs >= _FEWEST and seconds >= _SOONEST_SECONDS:
        likely = _cost(ahead) * seconds / _cost(done)
    shortest = min(at_work, default=0.0)
    overdue = shortest > max(_OVERDUE * (likely or 0.0), _OVERDUE_SECONDS)
    if overdue and len(at_work) == ahead.songs:
        return Estimate(max(limit - shortest, 1.0), at_most=True)
    return Estimate(likely)


class Pace:
    """Says how far a run has come, now and then.

    ``line``: what is to be done.
    ``limit``: seconds that a song may take.
    """

    def __init__(self, line: JobQueue, limit: float) -> None:
        self._line, self._limit = line, limit
        self._begun = self._told = time.monotonic()

    def is_due(self) -> bool:
        """Return whether it is time to say it again; a few times a second."""
        now = time.monotonic()
        due = now >= self._told + PROGRESS_SECONDS or not self._line.ahead().songs
        if due:
            self._told = now
        return due

    def now(self, done: int, songs: int) -> Progress:
        """Return how far the run has come, of which so many songs are done with."""
        seconds = time.monotonic() - self._begun
        line = self._line
        likely = estimate(line.done(), line.ahead(), seconds, line.at_work(), self._limit)
        return Progress(done, songs, likely.seconds, likely.at_most)


def _cost(load: Load) -> float:
    return load.songs + load.weight / _SONG_BYTES


def spoken_time(seconds: float) -> str:
    """Return a length of time as people say it, no finer than anyone could foretell it.

    >>> [spoken_time(seconds) for seconds in (0.4, 9, 44, 130, 3_300, 9_000)]
    ['1 second', '9 seconds', '45 seconds', '2 minutes', '55 minutes', '2.5 hours']
    """
    if seconds < 20:
        return _counted(max(round(seconds), 1), "second")
    if seconds < 90:
        return _counted(5 * round(seconds / 5), "second")
    if seconds < 90 * 60:
        return _counted(round(seconds / 60), "minute")
    return _counted(round(seconds / 1800) / 2, "hour")


def _counted(number: float, unit: str) -> str:
    return f"{number:g} {unit}{'' if number == 1 else 's'}"
