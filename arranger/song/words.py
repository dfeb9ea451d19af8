r"""The words that are sung, by bar.

Lyric events carry syllables. Karaoke files (common practice, no source) carry them in text events
instead, begin their headings with ``@``, and start a line with ``/`` and a page with ``\``.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.song.model import Mark, Song


def words_by_bar(song: Song, bar_ticks: Sequence[int]) -> dict[int, str]:
    """Return the words of each bar that has any, by the bar's index.

    Each is one line: white space and line marks become single spaces.

    ``bar_ticks``: where the bars start, in order; words before the first belong to it.
    """
    sung = _sung(song.marks)
    by_bar: dict[int, list[str]] = {}
    for mark in sung:
        index = max(bisect_right(bar_ticks, mark.tick) - 1, 0)
        by_bar.setdefault(index, []).append(mark.text)
    spaced = _are_spaced([mark.text for mark in sung])
    lines = {index: _line(texts, spaced) for index, texts in by_bar.items()}
    return {index: line for index, line in lines.items() if line}


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
