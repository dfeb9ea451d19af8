r"""The words that are sung, by bar.

Lyric events carry syllables. Karaoke files (common practice, no source) carry them in text events
instead, begin their headings with ``@``, and start a line with ``/`` and a page with ``\``.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

from arranger.song.time import bars

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.song.model import Mark, Song


def words_by_bar(song: Song) -> dict[int, str]:
    """Return the words of each bar that has any, by bar number as in `arranger.song.time.bars`.

    Each is one line: white space and line marks become single spaces.
    """
    sung = _sung(song.marks)
    if not sung:
        return {}
    found = bars(song, max(song.end_tick, sung[-1].tick + 1))
    starts = [bar.start for bar in found]
    by_bar: dict[int, list[str]] = {}
    for mark in sung:
        number = found[bisect_right(starts, mark.tick) - 1].number
        by_bar.setdefault(number, []).append(mark.text)
    spaced = _are_spaced([mark.text for mark in sung])
    lines = {number: _line(texts, spaced) for number, texts in by_bar.items()}
    return {number: line for number, line in lines.items() if line}


def _sung(marks: Sequence[Mark]) -> list[Mark]:
    """Return lyric events, or the texts of a karaoke file."""
    lyrics = [mark for mark in marks if mark.kind == "lyrics"]
    texts = [mark for mark in marks if mark.kind == "text"]
    if lyrics or not any(mark.text.startswith("@K") for mark in texts):
        return lyrics
    return [mark for mark in texts if not mark.text.startswith("@")]


def _are_spaced(texts: Sequence[str]) -> bool:
    """Return whether the syllables bring their own spaces and hyphens."""
    return any(text[:1] in " /\\\r\n" or text[-1:] in " -\r\n" for text in texts if text)


def _line(texts: Sequence[str], spaced: bool) -> str:
    joined = ("" if spaced else " ").join(texts)
    for mark in "/\\\r\n":
        joined = joined.replace(mark, " ")
    return " ".join(joined.split())
