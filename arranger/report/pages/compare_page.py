"""The page of two conversions of one song: their strips together, both to be seen and played in turn.

It is the page of a song (`arranger.report.pages.song_page`) with the data of both; a key and a switch go from one
to the other at the same place of the music.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SheetError, one_line
from arranger.report.heard.hearing import lines_told
from arranger.report.heard.losses import BarLoss, bar_losses, song_heard
from arranger.report.heard.problems import ranking
from arranger.report.pages.build import Script, asset, packed, rendered
from arranger.report.pages.facts import gather_facts
from arranger.report.pages.page_data import page_data
from arranger.report.pages.song_page import BOOT, SCRIPTS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from arranger.conversion import Conversion

MOST_BARS = 40
_DATA, _OTHER = "<the data>", "<the other data>"


class Compared(NamedTuple):
    """One of the two."""

    name: str
    """What it is called, such as its file."""
    conversion: Conversion


class BarPair(NamedTuple):
    """Bars of the song that are heard better in one of the two, in the same way."""

    bars: tuple[tuple[int, str], ...]
    """Index in the first, and name."""
    better: str
    """"A" or "B"."""
    lines: str
    """How much of each line that differs is heard: "tune 80 to 100 %"."""
    lacks: tuple[str, str]
    """What each lacks; empty: nothing."""


def compare_page_pieces(first: Compared, second: Compared) -> Iterator[str]:
    """Yield the page of two conversions piece by piece.

    Raises `SheetError` if they are of different songs.
    """
    if first.conversion.song.sha256 != second.conversion.song.sha256:
        raise SheetError(
            f"{one_line(first.name)} and {one_line(second.name)} are made from different songs",
            remedy="compare two conversions of one song",
        )
    boot, program = Script.of((BOOT,)), Script.of(SCRIPTS)
    frame = rendered(
        "song.html",
        facts=gather_facts(first.conversion),
        book=None,
        pair={
            "names": (one_line(first.name), one_line(second.name)),
            "lines": lines_told(song_heard(first.conversion), song_heard(second.conversion)),
            "bars": bar_pairs(first.conversion, second.conversion)[:MOST_BARS],
        },
        data=_DATA,
        other=_OTHER,
        live="",
        style=asset("style.css") + asset("top.css"),
        script=boot.text,
        program="".join(packed([program.text])),
        digests=(boot.digest, program.digest),
    )
    # From the end, where what a file says can't stand.
    head, _, tail = frame.rpartition(_DATA)
    middle, _, tail = tail.rpartition(_OTHER)
    yield head
    yield from packed(page_data(first.conversion))
    yield middle
    yield from packed(page_data(second.conversion))
    yield tail


def bar_pairs(first: Conversion, second: Conversion) -> tuple[BarPair, ...]:
    """Return the song's bars in which more is lost in one of the two, the greatest difference first."""
    others = {_song_number(bar): bar for bar in bar_losses(second)}
    both = [
        (bar, others[_song_number(bar)]) for bar in bar_losses(first) if _song_number(bar) in others
    ]
    both.sort(key=lambda pair: -abs(pair[1].loss - pair[0].loss))  # else in order of bars
    lacks = _lacks(first), _lacks(second)
    alike: dict[tuple[str, str, tuple[str, str]], list[tuple[int, str]]] = {}
    for bar, other in both:
        if bar.loss == other.loss:
            continue
        lacking = lacks[0].get(bar.place, ""), lacks[1].get(other.place, "")
        key = "B" if other.loss < bar.loss else "A", lines_told(bar.heard, other.heard), lacking
        alike.setdefault(key, []).append((bar.place, f"bar {bar.name}"))
    return tuple(BarPair(tuple(sorted(bars)), *key) for key, bars in alike.items())


def _song_number(bar: BarLoss) -> int:
    return bar.number if bar.song_number is None else bar.song_number


def _lacks(conversion: Conversion) -> Mapping[int, str]:
    return {bar.place: each.sentence for each in ranking(conversion) for bar in each.bars}
