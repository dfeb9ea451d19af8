"""The worklist in a terminal: the songs that need a hand first, in the columns of the page."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from arranger.songbook.known.changes import NEW, SAME
from arranger.songbook.shown.worklist import COLUMNS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.songbook.known.record import Record
    from arranger.songbook.shown.worklist import Column

LEAST_NAME, MOST_NAME = 16, 40
"""Characters of a song's name."""
_BETWEEN = "  "
_UNDER = "    "
_MARK = "..."
_NO_NEWS = ({""}, {NEW}, {SAME})
"""What all songs may say in a column that tells nothing then."""


def table_lines(records: Sequence[Record], width: int) -> Iterator[str]:
    """Yield a table of songs, at least one, a heading first; no line is longer than ``width``, of 50 or more.

    Columns that have no room stand below their song. Those of which none of these songs has anything
    are left out.
    """
    name, *others = COLUMNS
    filled = [
        column for column in others if {column.text(each) for each in records} not in _NO_NEWS
    ]
    beside = list(filled)
    while LEAST_NAME + _taken(beside, records) > width:
        beside.pop()
    below = filled[len(beside) :]
    longest = max(_wide(name.text(each)) for each in records)
    wide = min(MOST_NAME, max(LEAST_NAME, longest), width - _taken(beside, records))
    yield _line(name.title.ljust(wide), beside, records, None)
    for record in records:
        yield _line(_fitted(name.text(record), wide), beside, records, record)
        yield from _told(below, record, width)


def _taken(columns: Sequence[Column], records: Sequence[Record]) -> int:
    return sum(len(_BETWEEN) + _width(column, records) for column in columns)


def _width(column: Column, records: Sequence[Record]) -> int:
    return max(len(column.title), *(len(column.text(record)) for record in records), 0)


def _line(
    name: str, columns: Sequence[Column], records: Sequence[Record], record: Record | None
) -> str:
    """Return the line of a record, or with None the heading."""
    cells = [name]
    for column in columns:
        text = column.title if record is None else column.text(record)
        wide = _width(column, records)
        cells.append(text.rjust(wide) if column.number else text.ljust(wide))
    return _BETWEEN.join(cells).rstrip()


def _told(columns: Sequence[Column], record: Record, width: int) -> Iterator[str]:
    """Yield what has no room beside a song."""
    told = [
        f"{column.title.lower()}: {column.text(record)}"
        for column in columns
        if column.text(record)
    ]
    yield from wrap("; ".join(told), width, initial_indent=_UNDER, subsequent_indent=_UNDER)


def _wide(text: str) -> int:
    """Return how many columns of a terminal a text takes."""
    from rich.cells import cell_len

    return cell_len(text)


def _fitted(name: str, wide: int) -> str:
    """Return a name cut or filled up to so many columns."""
    from rich.cells import set_cell_size

    if _wide(name) <= wide:
        return set_cell_size(name, wide)
    return set_cell_size(name, wide - len(_MARK)) + _MARK
