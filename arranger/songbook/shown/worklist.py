"""The worklist: which song needs a hand first, and what is told of each.

`COLUMNS` defines once what page, terminal and songbook.csv show; `by_need` is their order: songs that
failed, then those that don't fit, then those that lose most of what a listener would miss, weighed as
the bars of a song's report are (`arranger.report.heard.losses`) and as a share of all the song asks for.
`table_lines` is the worklist in a terminal.
"""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING, NamedTuple

from arranger.bars import minutes_text
from arranger.errors import one_line
from arranger.report.heard.hearing import LINES
from arranger.songbook.known.song_record import NEW, SAME

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from arranger.songbook.known.song_record import SongRecord


Value = str | int | float | None


def _heard(line: int) -> Callable[[SongRecord], Value]:
    return lambda record: record.heard[line] if record.heard else None


def _fits(record: SongRecord) -> str:
    if not record.bytes_limit:
        return ""
    return "yes" if record.fits else "no"


FIELDS: Mapping[str, Callable[[SongRecord], Value]] = {
    "song": lambda record: record.relative,
    "title": lambda record: record.title,
    "lost": lambda record: record.lost,
    **{f"{line}_heard": _heard(place) for place, line in enumerate(LINES)},
    "seconds": lambda record: record.seconds,
    "song_bytes": lambda record: record.song_bytes,
    "bytes_limit": lambda record: record.bytes_limit,
    "fits": _fits,
    "asked_bpm": lambda record: record.asked_bpm,
    "played_bpm": lambda record: record.played_bpm,
    "doubts": lambda record: " ".join(word for word, _ in record.doubts),
    "doubts_told": lambda record: "; ".join(sentence for _, sentence in record.doubts),
    "edited": lambda record: "yes" if record.edited else "",
    "edited_at": lambda record: record.edited_at,
    "change": lambda record: record.change,
}
"""How each value is had from a record."""


class Column(NamedTuple):
    """One column of the worklist."""

    name: str
    title: str
    meaning: str
    fields: tuple[str, ...]
    """Names of `FIELDS` that it shows: in songbook.csv each is a column of its own."""
    text: Callable[[SongRecord], str]
    """What a table shows."""
    number: bool = True
    """Whether it is set flush right."""
    unit: str = ""
    rising: bool = False
    """Whether the least stands first where a table is sorted by it."""


def _share(share: int | None) -> str:
    return "" if share is None else f"{share}"


def _heard_text(line: int) -> Callable[[SongRecord], str]:
    return lambda record: _share(record.heard[line] if record.heard else None)


def _lost_text(record: SongRecord) -> str:
    return "" if record.lost is None else f"{record.lost / 10:.1f}"


def _tempo_text(record: SongRecord) -> str:
    asked, played = (f"{bpm:.3g}" for bpm in (record.asked_bpm, record.played_bpm))
    if not record.asked_bpm:
        return ""
    return asked if asked == played else f"{asked}>{played}"


def _bytes_text(record: SongRecord) -> str:
    if not record.bytes_limit:
        return ""
    return f"{record.song_bytes}" if record.fits else f"{record.song_bytes}!"


COLUMNS = (
    Column("song", "Song", "The song's title, and its file", ("song", "title"),
           lambda record: one_line(record.title or record.relative), number=False, rising=True),
    Column("lost", "Lost", "How much of the song isn't heard: a beat of the tune counts 3, of the bass "
           "2, of the harmony 1, of the drums 0.7", ("lost",), _lost_text, unit="%"),
    *(Column(line, line.capitalize(), f"How much of the {line} is heard", (f"{line}_heard",),
             _heard_text(place), unit="%", rising=True) for place, line in enumerate(LINES)),
    Column("length", "Length", "How long the piece is, once through", ("seconds",),
           lambda record: minutes_text(record.seconds) if record.seconds else ""),
    Column("bytes", "Bytes", "What the song takes without its player; marked where that is more than "
           "the engine has, or than was allowed", ("song_bytes", "bytes_limit", "fits"), _bytes_text),
    Column("tempo", "Tempo", "Beats a minute as asked for, and as played where that is another",
           ("asked_bpm", "played_bpm"), _tempo_text),
    Column("doubts", "Doubts", "What may have been taken wrongly: the beat, the metre, a pedal that "
           "stays down, the parts for tune and bass", ("doubts", "doubts_told"),
           lambda record: " ".join(word for word, _ in record.doubts), number=False),
    Column("edited", "Edited", "When a hand last wrote the sheet", ("edited", "edited_at"),
           lambda record: record.edited_at[:10] or ("yes" if record.edited else ""), number=False),
    Column("change", "Since the last run", "What became of the song since the run before", ("change",),
           lambda record: record.change, number=False),
)  # fmt: skip
"""In the order in which they are shown."""


def by_need(records: Iterable[SongRecord]) -> list[SongRecord]:
    """Return records in the order in which the songs need a hand."""
    return sorted(records, key=_need)


def _need(record: SongRecord) -> tuple[int, int, str]:
    group = 0 if record.state == "failed" else 2 if record.fits else 1
    return group, -(record.lost or 0), record.relative


LEAST_NAME, MOST_NAME = 16, 40
"""Characters of a song's name."""
_BETWEEN = "  "
_UNDER = "    "
_MARK = "..."
_NO_NEWS = ({""}, {NEW}, {SAME})
"""What all songs may say in a column that tells nothing then."""


def table_lines(records: Sequence[SongRecord], width: int) -> Iterator[str]:
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


def _taken(columns: Sequence[Column], records: Sequence[SongRecord]) -> int:
    return sum(len(_BETWEEN) + _width(column, records) for column in columns)


def _width(column: Column, records: Sequence[SongRecord]) -> int:
    return max(len(column.title), *(len(column.text(record)) for record in records), 0)


def _line(
    name: str, columns: Sequence[Column], records: Sequence[SongRecord], record: SongRecord | None
) -> str:
    """Return the line of a record, or with None the heading."""
    cells = [name]
    for column in columns:
        text = column.title if record is None else column.text(record)
        wide = _width(column, records)
        cells.append(text.rjust(wide) if column.number else text.ljust(wide))
    return _BETWEEN.join(cells).rstrip()


def _told(columns: Sequence[Column], record: SongRecord, width: int) -> Iterator[str]:
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
