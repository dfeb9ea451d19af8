"""Bars and time as people count and write them: the beat of a metre, ranges of bars, minutes."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

from arranger.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST_NAMED = 6

_METRE = re.compile(r"(\d{1,3})/(1|2|4|8|16|32|64)", re.ASCII)
_RANGE = re.compile(r"(\d{1,9})(?:-(\d{1,9}))?", re.ASCII)


def metre_beat(numerator: int, denominator: int) -> Fraction:
    """Return the beat of a metre in quarter notes: dotted in compound metres (6/8, 9/8, 12/8).

    >>> metre_beat(3, 4), metre_beat(3, 8), metre_beat(6, 8)
    (Fraction(1, 1), Fraction(1, 2), Fraction(3, 2))
    """
    compound = denominator >= 8 and numerator % 3 == 0 and numerator > 3
    return Fraction(12 if compound else 4, denominator)


def minutes_text(seconds: float) -> str:
    """Return a duration as minutes and whole seconds.

    >>> minutes_text(59.4), minutes_text(59.5)
    ('0:59', '1:00')
    """
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02}"


def beside(number: int, song_number: int | None) -> str:
    """Return what is told beside the number of a sheet's bar: the song's, where that is another.

    >>> f"bar 12{beside(12, 10)}", f"bar 12{beside(12, 12)}", f"bar 12{beside(12, None)}"
    ("bar 12 (the song's 10)", 'bar 12', 'bar 12')
    """
    return "" if song_number in (None, number) else f" (the song's {song_number})"


def bars_named(numbers: Sequence[str]) -> str:
    """Return bars as people say them; many are counted.

    >>> bars_named(["7"]), bars_named(["7", "15", "31"]), bars_named("123456"), bars_named("1234567")
    ('bar 7', 'bars 7, 15 and 31', 'bars 1, 2, 3, 4, 5 and 6', 'bars 1, 2, 3, 4, 5, 6 and 1 more')
    """
    if len(numbers) == 1:
        return f"bar {numbers[0]}"
    if len(numbers) > MOST_NAMED:
        more = len(numbers) - MOST_NAMED
        return f"bars {', '.join(numbers[:MOST_NAMED])} and {more} more"
    return f"bars {', '.join(numbers[:-1])} and {numbers[-1]}"


def runs_of(numbers: Sequence[int]) -> list[list[int]]:
    """Return rising numbers as runs of those that follow each other.

    >>> runs_of([1, 2, 3, 7])
    [[1, 2, 3], [7]]
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs


def spoken(numbers: Sequence[int]) -> str:
    """Return bars by their numbers, those that count on as ranges.

    >>> spoken([5]), spoken([5, 6, 7, 10])
    ('bar 5', 'bars 5-7, 10')
    """
    listed = ", ".join(run_text(run) for run in runs_of(numbers))
    return f"{'bar' if len(numbers) == 1 else 'bars'} {listed}"


def run_text(run: Sequence[int]) -> str:
    """Return numbers that count on as a range: "5-8", or "5"."""
    return f"{run[0]}-{run[-1]}" if len(run) > 1 else f"{run[0]}"


def runs_named(numbers: Sequence[int], most: int = MOST_NAMED) -> str:
    """Return bars in rising order as people say them, those in a row together; many runs are counted.

    >>> runs_named([7]), runs_named([1, 2, 3, 7]), runs_named([1, 3, 5, 7], most=2)
    ('bar 7', 'bars 1-3 and 7', 'bars 1 and 3 and 2 more')
    """
    runs = runs_of(numbers)
    told = [run_text(run) for run in runs[:most]]
    more = sum(map(len, runs[most:]))
    bars = "bar" if len(numbers) == 1 else "bars"
    listed = " and ".join([", ".join(told[:-1]), told[-1]]) if len(told) > 1 else told[0]
    return f"{bars} {listed}{f' and {more} more' if more else ''}"


def parse_metre(text: str) -> tuple[int, int]:
    """Return numerator and denominator of "3/4".

    Raises
    ------
    UsageError
        If it is no metre.

    >>> parse_metre("6/8")
    (6, 8)
    """
    match = _METRE.fullmatch(text)
    if match is None or not int(match[1]):
        raise UsageError(f"{text[:40]!r} is no metre", remedy="write one like 4/4, 3/4 or 6/8")
    return int(match[1]), int(match[2])


def parse_bars(text: str) -> tuple[int, int]:
    """Return first and last bar of "5-8" or "5".

    Raises
    ------
    UsageError
        If the text is no such thing, or runs backwards.

    >>> parse_bars("5-8"), parse_bars("7")
    ((5, 8), (7, 7))
    """
    match = _RANGE.fullmatch(text.strip())
    if match is None:
        raise UsageError(f"{text!r} is no range of bars", remedy="write it like 5-8, or 5")
    first, last = int(match[1]), int(match[2] or match[1])
    if last < first:
        raise UsageError(f"the bars {text} run backwards", remedy=f"write {last}-{first}")
    return first, last
