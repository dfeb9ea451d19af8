"""Folding: bars that repeat earlier ones are written as those; unfolding writes every bar out.

The longest repeat is taken first, of several the one of what comes first in the piece, so that a
section that comes again is one line; what is left of shorter ones follows. A repeat doesn't overlap what it repeats, and has a bar that isn't silent: an
empty bar is no repeat of another one, since music may still be written into it. A bar stays written
out that has a comment on one of its rows. What is folded already stays as it is, so that folding
twice changes nothing more.

The line of a run is always shorter than the rows that it stands for.
"""

from __future__ import annotations

from dataclasses import replace
from heapq import heapify, heappop, heappush
from typing import TYPE_CHECKING

import numpy as np

from arranger.rows import REST
from arranger.sheet.form.as_bars import written_out
from arranger.sheet.form.text import BELOW

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.sheet.model import Sheet

MOST_BARS = 20_000
"""Bars beyond these aren't folded: each is compared with each."""


def fold_repeats(sheet: Sheet) -> Sheet:
    """Return the sheet with bars as others wherever they repeat them; it plays the same."""
    kinds, silent = _kinds(sheet)
    taken = [bar.as_bar is not None for bar in sheet.bars[: len(kinds)]]
    for comment in sheet.comments:
        if 0 < comment.row < BELOW and 0 <= comment.bar < len(taken):
            taken[comment.bar] = True
    bars = list(sheet.bars)
    for index, other, count in _repeats(kinds, silent, taken):
        for offset in range(count):
            bars[index + offset] = bars[index + offset]._replace(as_bar=other + offset)
    return replace(sheet, bars=tuple(bars))


def unfold(sheet: Sheet) -> Sheet:
    """Return the sheet with every bar written out; it plays the same."""
    return replace(sheet, bars=written_out(sheet.bars))


def _kinds(sheet: Sheet) -> tuple[list[int], list[bool]]:
    """Return a number for each bar, the same for bars that are alike, and whether it is silent."""
    numbers: dict[object, int] = {}
    kinds: list[int] = []
    silent: list[bool] = []
    for bar, rows in zip(sheet.bars[:MOST_BARS], sheet.bar_rows, strict=False):
        kinds.append(numbers.setdefault((bar[1:4], rows), len(numbers)))
        silent.append({*rows[0], *rows[1]} == {REST} and not any(rows[2]))
    return kinds, silent


def _repeats(
    kinds: list[int], silent: Sequence[bool], taken: list[bool]
) -> list[tuple[int, int, int]]:
    """Return repeats, the longest first: their first bar, what it is as, and how many bars.

    ``taken`` says which bars are to be left as they are; those that are found are added.
    """
    places: dict[int, list[int]] = {}
    for index, kind in enumerate(kinds):
        places.setdefault(kind, []).append(index)
    waiting = [(-count, other, index) for index, (count, other) in _longest(kinds) if count]
    heapify(waiting)
    found: list[tuple[int, int, int]] = []
    while waiting:
        count, other, index = heappop(waiting)
        free = next((at for at in range(-count) if taken[index + at]), -count)
        if 0 < free < -count:
            wanted = kinds[index : index + free]
            nearer = (
                place
                for place in places[kinds[index]]
                if place + free <= index and kinds[place : place + free] == wanted
            )
            heappush(waiting, (-free, next(nearer), index))
        elif free and not all(silent[index : index + free]):
            found.append((index, other, free))
            taken[index : index + free] = [True] * free
    return found


def _longest(kinds: Sequence[int]) -> Iterator[tuple[int, tuple[int, int]]]:
    """Yield each bar with how many from it on repeat earlier ones without overlap, and those."""
    count = len(kinds)
    numbers = np.array(kinds, dtype=np.int64)
    far = np.arange(count, dtype=np.int64)
    alike = np.zeros(count, dtype=np.int64)  # how many are alike from the next bar and from each
    for index in range(count - 1, 0, -1):
        alike = np.where(numbers[:index] == kinds[index], alike[1 : index + 1] + 1, 0)
        repeated = np.minimum(alike, index - far[:index])
        other = int(repeated.argmax())
        yield index, (int(repeated[other]), other)
