"""Numbers of bars in a merged sheet: those that the hand gave, and the song's beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.grid.model import GridBar, grid_bars

if TYPE_CHECKING:
    from arranger.grid.model import Grid
    from arranger.reduce.model import TexturePassage
    from arranger.sheet.merging.merge import Merge


def bars_of(merged: Merge, grid: Grid) -> tuple[GridBar, ...]:
    """Return the bars of a merged sheet, with the song's numbers where they are others.

    ``merged``: what merging came to.
    ``grid``: the grid of the song as it is converted now.
    """
    bars = grid_bars(bar[:4] for bar in merged.sheet.bars)
    songs = [None if bar.now is None else grid.bars[bar.now].number for bar in merged.bars]
    return tuple(
        bar if song == bar.number else bar._replace(song_number=song, in_song=song is not None)
        for bar, song in zip(bars, songs, strict=True)
    )


def passages_of(
    passages: tuple[TexturePassage, ...], before: Grid, now: Grid, merged: Merge
) -> tuple[TexturePassage, ...]:
    """Return passages as they stand in a merged sheet: a bar that the hand put in goes on with one.

    ``passages``: the textures of the song as it is converted now.
    ``before``, ``now``: the grid of that, and of the merged sheet.
    ``merged``: what merging came to.
    """
    runs: list[tuple[TexturePassage, list[int], list[int]]] = []
    here = passages[0] if passages else None
    for bar, origin in zip(now.bars, merged.bars, strict=True):
        song = None if origin.now is None else before.bars[origin.now].number
        if song is not None:
            here = next((p for p in passages if p.first_bar <= song <= p.last_bar), here)
        if here is None:
            continue
        if not runs or runs[-1][0] is not here:
            runs.append((here, [], []))
        runs[-1][1].append(bar.number)
        runs[-1][2].extend([] if song is None else [song])
    return tuple(_passage(*run) for run in runs)


def _passage(passage: TexturePassage, numbers: list[int], songs: list[int]) -> TexturePassage:
    """Return a passage as it stands in some bars; the song's numbers only where they rise too."""
    first, last = numbers[0], numbers[-1]
    told = bool(songs) and songs == sorted(songs) and (songs[0], songs[-1]) != (first, last)
    return passage._replace(
        first_bar=first,
        last_bar=last,
        song_first_bar=songs[0] if told else None,
        song_last_bar=songs[-1] if told else None,
    )
