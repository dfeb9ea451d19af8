"""The key that a song names for each bar, where that means something."""

from __future__ import annotations

from bisect import bisect_right
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from arranger.grid.model import Grid
    from arranger.sheet.record.packed_sheet import Keys
    from arranger.song.model import Song

_MOST_FLATS = 5


def keys_by_bar(song: Song, grid: Grid, transposed: int) -> Keys:
    """Return sharps and mode of each bar's key, moved by so many semitones; none if none is named.

    C major alone is named by programs that know no key. What a bar is in is what holds in its middle.
    """
    if not grid.bar_ticks or {change[1:] for change in song.keys} <= {(0, False)}:
        return ()
    ticks = [change.tick for change in song.keys]
    bars = grid.bar_ticks[: len(grid.bars) + 1]
    middles = [(start + end) / 2 for start, end in pairwise(bars)]
    middles += [float(bars[-1])] * (len(grid.bars) - len(middles))
    found = (song.keys[max(bisect_right(ticks, middle) - 1, 0)] for middle in middles)
    return tuple((_moved(change.sharps, transposed), change.minor) for change in found)


def _moved(sharps: int, semitones: int) -> int:
    """Return the signature after a transposition: a semitone is seven fifths."""
    if semitones % 12 == 0:
        return sharps
    return (sharps + 7 * semitones + _MOST_FLATS) % 12 - _MOST_FLATS
