"""Which clefs a voice is written in: those that spare ledger lines, changed only where it pays.

How much is common practice (no source): a line or two are read at once, an octave clef pays where
most notes have three.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.score.spelling import Name


class Clef(NamedTuple):
    """A clef of MusicXML 4.0."""

    sign: str
    line: int
    octave: int
    """Octaves that its notes sound above where they are written."""
    lowest: int
    """The lowest line of its staff, in letters above C0."""


_E4, _G2 = 30, 18
CLEFS = (
    Clef("G", 2, 0, _E4),
    Clef("F", 4, 0, _G2),
    Clef("G", 2, 1, _E4 + 7),
    Clef("F", 4, -1, _G2 - 7),
)
_EFFORT = (0, 1, 3, 6, 10, 15)
"""What notes with so many ledger lines cost to read."""
_OCTAVE = 3
"""What a note costs more in an octave clef."""
_CHANGE = 40
"""What a change of clef costs."""


def choose_clefs(bars: Sequence[Sequence[Name]]) -> list[Clef]:
    """Return the clef of each bar: those that cost least in all."""
    costs = [0] * len(CLEFS)
    came_from: list[list[int]] = []
    for bar in bars:
        cheapest = min(range(len(CLEFS)), key=costs.__getitem__)
        change = costs[cheapest] + _CHANGE
        came_from.append([own if costs[own] <= change else cheapest for own in range(len(CLEFS))])
        costs = [
            min(cost, change) + sum(_effort(name, clef) for name in bar)
            for cost, clef in zip(costs, CLEFS, strict=True)
        ]
    index = min(range(len(CLEFS)), key=costs.__getitem__)
    found: list[Clef] = []
    for came in reversed(came_from):
        found.append(CLEFS[index])
        index = came[index]
    return found[::-1]


def _effort(name: Name, clef: Clef) -> int:
    """Return what a note costs to read."""
    above = name.octave * 7 + "CDEFGAB".index(name.letter) - clef.lowest
    lines = max(-above // 2, (above - 8) // 2, 0)
    return _EFFORT[min(lines, len(_EFFORT) - 1)] + _OCTAVE * abs(clef.octave)
