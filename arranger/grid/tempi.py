"""Changes of tempo that matter, by bar: the piece is played evenly, so they are told.

From memory: in regular sequences listeners notice a tempo that is 2 to 3 % off (Drake and Botte 1993).
What is over within half a bar is a hold or a breath, and isn't told.
"""

from __future__ import annotations

from math import log
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.bars import runs_named
from arranger.columns import median

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Floats

HEARD = 0.03
"""Share by which a bar must be faster or slower than the song."""
MOST_PASSAGES = 3
"""With more, the slowest and the fastest bar are told instead."""
PARTS = 4
"""Of a bar, whose median is its tempo."""


class TempoPassage(NamedTuple):
    """Bars in a row that are all slower, or all faster, than the song."""

    bars: tuple[int, ...]
    """Their indices."""
    slowest: float
    fastest: float


def part_places(lines: Floats) -> Floats:
    """Return where the parts of each bar begin and end, from its lines; shape (bars, PARTS + 1)."""
    share = np.linspace(0.0, 1.0, PARTS + 1)
    places: Floats = lines[:-1, None] + np.diff(lines)[:, None] * share
    return places


def bar_tempos(beats: Floats, seconds: Floats) -> Floats:
    """Return the tempo of each bar, from beat and time of its `part_places`; shape (bars,)."""
    tempos: Floats = 60.0 * np.diff(beats, axis=1) / np.maximum(np.diff(seconds, axis=1), 1e-6)
    return median(tempos)


def tempo_changes(tempos: Floats, bpm: float) -> tuple[TempoPassage, ...]:
    """Return the passages whose tempo is heard to be another than the song's."""
    away = np.log(tempos / bpm)
    kind = np.where(np.abs(away) > log(1 + HEARD), np.sign(away), 0.0)
    edges = np.flatnonzero(np.diff(kind)) + 1
    runs = np.split(np.arange(len(kind)), edges)
    return tuple(
        TempoPassage(tuple(run.tolist()), float(tempos[run].min()), float(tempos[run].max()))
        for run in runs
        if len(run) and kind[run[0]]
    )


def tempi_in_words(found: Sequence[TempoPassage], bpm: float, numbers: Sequence[int]) -> str:
    """Return the passages in words; ``numbers`` are those of all bars. Empty if there are none."""
    if not found:
        return ""
    if len(found) > MOST_PASSAGES:
        slow = min(found, key=lambda each: each.slowest)
        fast = max(found, key=lambda each: each.fastest)
        bars = sum(len(each.bars) for each in found)
        return (
            f"in {bars} bars the tempo is more than {HEARD:.0%} off {bpm:.3g}: it goes from "
            f"{slow.slowest:.3g} ({_bars(slow, numbers)}) to {fast.fastest:.3g} "
            f"({_bars(fast, numbers)})"
        ).replace("%", " %")
    each = [_passage(passage, bpm, numbers) for passage in found]
    return f"the tempo is {bpm:.3g}, but {', '.join(each)}"


def _passage(passage: TempoPassage, bpm: float, numbers: Sequence[int]) -> str:
    verb = "is" if len(passage.bars) == 1 else "are"
    how = "slower" if passage.slowest < bpm else "faster"
    span = f"{passage.slowest:.3g}"
    if passage.fastest > passage.slowest * (1 + HEARD):
        span += f" to {passage.fastest:.3g}"
    return f"{_bars(passage, numbers)} {verb} {how} ({span})"


def _bars(passage: TempoPassage, numbers: Sequence[int]) -> str:
    return runs_named([numbers[bar] for bar in passage.bars])
