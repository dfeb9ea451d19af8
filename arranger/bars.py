"""Ranges of bars as people write them; every option and command reads them here."""

from __future__ import annotations

import re

from arranger.errors import UsageError

_RANGE = re.compile(r"(\d{1,9})(?:-(\d{1,9}))?", re.ASCII)


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
