"""The repeat signs of a score that music21 parsed, and the order of bars that they ask for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from arranger.song.model import Repair
from arranger.song.score.repeats import Signs, play_order

if TYPE_CHECKING:
    from arranger.song.score.gathered import Gathered

_MOST_TIMES = 16
"""A repeat that asks for more is played so often."""


def written_order(parts: list[Any], found: Gathered) -> list[int]:
    """Return the indices of the bars in the order in which they are played.

    Signs count in whatever part they stand. Where they make no sense, the score is played once
    through, and a remark says so.
    """
    from music21 import stream

    of_parts = [list(part.getElementsByClass(stream.Measure)) for part in parts]
    straight = list(range(len(of_parts[0])))
    signs = [Signs() for _ in straight]
    seen = bracketed = False
    for part, measures in zip(parts, of_parts, strict=True):
        for place, measure in enumerate(measures[: len(signs)]):
            seen |= _add_bar_signs(signs, place, measure, found)
        bracketed |= _add_endings(signs, measures, part)
    if not (seen or bracketed):
        return straight
    alike = all(len(measures) == len(straight) for measures in of_parts)
    order = play_order(signs) if alike else None
    if order is None or order == straight:
        found.remarks.append("the repeat signs make no sense: played once through")
        return straight
    what = "repeats and endings" if bracketed else "repeats"
    found.remarks.append(f"{what} are written out")
    return order


def _add_bar_signs(signs: list[Signs], place: int, measure: Any, found: Gathered) -> bool:
    """Add what stands in one bar; return whether there was a sign."""
    from music21 import bar, repeat

    seen = False
    for line, side in ((measure.leftBarline, 0), (measure.rightBarline, 1)):
        if isinstance(line, bar.Repeat):
            seen = True
            if line.direction == "start":  # music21 has none at the end of a bar
                signs[place].starts = True
            elif place + side > 0:
                ended = signs[place + side - 1]
                ended.times = max(ended.times, _times(line, found))
    for mark in measure.getElementsByClass(repeat.RepeatExpression):
        seen = True
        name = type(mark).__name__
        here = signs[place]
        here.segno |= name == "Segno"
        here.coda |= name == "Coda"
        here.fine |= name == "Fine"
        if name.startswith(("DaCapo", "DalSegno")):
            here.jump = "capo" if name.startswith("DaCapo") else "segno"
            here.until = {"ne": "fine", "da": "coda"}.get(name[-2:], "")
    return seen


def _times(line: Any, found: Gathered) -> int:
    times = line.times or 2
    if times > _MOST_TIMES:
        repair = Repair("score", f"a repeat of {times} times: played {_MOST_TIMES} times")
        if repair not in found.repairs:
            found.repairs.append(repair)
    return max(2, min(times, _MOST_TIMES))


def _add_endings(signs: list[Signs], measures: list[Any], part: Any) -> bool:
    """Add the endings of a part; return whether it has any."""
    from music21 import spanner

    places = {id(measure): place for place, measure in enumerate(measures[: len(signs)])}
    seen = False
    for bracket in part.recurse().getElementsByClass(spanner.RepeatBracket):
        inside = [places[id(m)] for m in bracket.getSpannedElements() if id(m) in places]
        passes = frozenset(n for n in bracket.numberRange if 1 <= n <= _MOST_TIMES)
        if inside and passes:
            seen = True
            for place in range(min(inside), max(inside) + 1):
                signs[place].endings |= passes
    return seen
