"""Beams: eighths and shorter notes of one beat hang together."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from arranger.sheet.score.values import KINDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.score.bars import ScoreBar, Value

_FLAGS = {kind: flags for flags, kind in enumerate(KINDS[KINDS.index("eighth") :], 1)}


def beams_of(bar: ScoreBar) -> list[tuple[str, ...]]:
    """Return the beams of each value of a bar, from the outermost one, as MusicXML calls them."""
    found: list[tuple[str, ...]] = []
    for (_, flagged), group in groupby(bar.values, lambda value: _group(bar, value)):
        values = list(group)
        if flagged and len(values) > 1:
            found += [_beams(bar, values, index) for index in range(len(values))]
        else:
            found += [()] * len(values)
    return found


def _group(bar: ScoreBar, value: Value) -> tuple[object, bool]:
    """Return what notes under one beam share, and whether the value can have a beam.

    They share a beat. What isn't beamed as a whole shares a tuplet, since no beam may reach out of it:
    in some readers, verovio's among them, one of the two has to be in the other.
    """
    beat = bar.measure.metre.beat_at(value.start)
    if value.tuplet is not None:
        inside = [each for each in bar.values if each.tuplet == value.tuplet]
        if value.tuplet.length > beat[1] or not all(map(_is_flagged, inside)):
            return value.tuplet, _is_flagged(value)
    return beat, _is_flagged(value)


def _is_flagged(value: Value) -> bool:
    return value.what is not None and value.kind in _FLAGS


def _beams(bar: ScoreBar, values: Sequence[Value], index: int) -> tuple[str, ...]:
    """Return the beams of one of the values under a beam."""
    found = []
    for level in range(1, _FLAGS[values[index].kind] + 1):
        before = index > 0 and _FLAGS[values[index - 1].kind] >= level
        after = index + 1 < len(values) and _FLAGS[values[index + 1].kind] >= level
        if before or after:
            found.append("continue" if before and after else "end" if before else "begin")
        else:
            value = values[index]
            ahead = bar.measure.metre.strength(value.start) > bar.measure.metre.strength(value.end)
            last = index + 1 == len(values)
            found.append("forward hook" if index == 0 or (ahead and not last) else "backward hook")
    return tuple(found)
