"""In which order the bars of a score are played: repeats, endings, da capo and dal segno.

Rules (common practice, no source; MusicXML, ABC and Humdrum have the same signs)
-----
1. The end of a repeat goes back to its start; where none is written, to the bar after the repeat
   before, or to the first bar. Repeats don't nest: of two starts in a row the later one counts.
2. A bar under endings is played in the passes that they name. An ending that isn't the last of
   its group goes back even where no sign says so.
3. After a jump (da capo, dal segno) nothing is repeated and last endings are played, up to *fine*,
   or over from the first coda sign to the second, if the jump asks for that. Only the first counts.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(slots=True)
class Signs:
    """What is written at one bar."""

    starts: bool = False
    """A repeat starts before it."""
    times: int = 0
    """How often a repeat that ends after it is played; 0: none ends."""
    endings: frozenset[int] = frozenset()
    """The passes in which it is played, from 1; empty: in all."""
    segno: bool = False
    coda: bool = False
    fine: bool = False
    jump: str = ""
    """Where to go after it: "capo", "segno" or nowhere."""
    until: str = ""
    """How a jump ends: "fine", "coda", or with the last bar."""


def play_order(bars: Sequence[Signs]) -> list[int] | None:
    """Return the indices of bars in the order in which they sound; None if signs make no sense.

    They do when every bar is played, but for those that a jump leaves out.

    >>> A, B = Signs(starts=True), Signs(times=2)
    >>> play_order([A, B, A, B])
    [0, 1, 0, 1, 2, 3, 2, 3]
    """
    if not bars:
        return []
    endings = _last_endings(bars)
    jump = next((i for i, bar in enumerate(bars) if bar.jump), len(bars) - 1)
    order = _with_repeats(bars[: jump + 1], endings)
    if bars[jump].jump:
        onwards = _after_jump(bars, bars[jump], endings)
        if onwards is None:
            return None
        order += onwards
    missing = set(range(jump + 1)) - set(order)
    return None if missing else order


def _last_endings(bars: Sequence[Signs]) -> list[int]:
    """Return for each bar the last pass of the group of endings that it belongs to; 0 for none."""
    last: list[int] = []
    for inside, group in itertools.groupby(bars, key=lambda bar: bool(bar.endings)):
        members = list(group)
        number = max((max(bar.endings) for bar in members), default=0) if inside else 0
        last += [number] * len(members)
    return last


def _with_repeats(bars: Sequence[Signs], endings: list[int]) -> list[int]:
    order: list[int] = []
    section, passes, place = 0, 1, 0
    while place < len(bars):
        bar = bars[place]
        if bar.starts and place > section:
            section, passes = place, 1
        if bar.endings and passes not in bar.endings:
            place += 1
            continue
        order.append(place)
        follows = bars[place + 1].endings if place + 1 < len(bars) else frozenset()
        ends = bool(bar.times) or (bool(bar.endings) and bool(follows) and follows != bar.endings)
        if ends and passes < max(bar.times, endings[place]):
            place, passes = section, passes + 1
            continue
        place += 1
        if ends or (bar.endings and not follows):
            section, passes = place, 1
    return order


def _after_jump(bars: Sequence[Signs], jump: Signs, endings: list[int]) -> list[int] | None:
    """Return what is played after a jump; None if what it names isn't there."""
    segno = [i for i, bar in enumerate(bars) if bar.segno]
    codas = [i for i, bar in enumerate(bars) if bar.coda]
    fine = [i for i, bar in enumerate(bars) if bar.fine]
    if jump.jump == "segno" and not segno:
        return None
    start = segno[0] if jump.jump == "segno" else 0
    way = list(range(start, len(bars)))
    if jump.until == "fine":
        way = list(range(start, fine[-1] + 1)) if fine else []
    elif jump.until == "coda":
        way = [*range(start, codas[0] + 1), *range(codas[1], len(bars))] if codas[1:] else []
    return [i for i in way if not bars[i].endings or endings[i] in bars[i].endings] or None
