"""How far a run has come: what the terminal, the page and songbook.json tell while it goes on."""

from __future__ import annotations

from typing import NamedTuple


class Progress(NamedTuple):
    """How far a run has come."""

    done: int
    """Songs that are done with, those among them that had nothing to change."""
    songs: int
    """Songs in all."""
    seconds_left: float | None = None
    """About how long it will take yet; None as long as nobody can tell."""
    again_seconds: int = 10
    """How soon the overview is written again, at the latest."""
    stopped: bool = False
    """Whether the run has ended before its end."""

    @property
    def waiting(self) -> int:
        """Songs that are still to be done."""
        return self.songs - self.done


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
