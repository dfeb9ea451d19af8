"""What a step costs, in words: notes that merge, notes that are heard off their place, rows."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.grid.model import StepChoice

FEWER = 0.5
"""A finer step is named if it loses at most so much of what the chosen one loses."""
_MORE = {
    Fraction(2): "twice as many steps",
    Fraction(3): "three times as many steps",
    Fraction(4): "four times as many steps",
    Fraction(3, 2): "half as many steps more",
    Fraction(4, 3): "a third more steps",
}


def losses(choice: StepChoice) -> str:
    """Return what a step loses; empty if that is nothing.

    >>> from arranger.grid.model import StepChoice
    >>> losses(StepChoice(Fraction(1, 4), 0.0, 64, 9, 12, 0, 1))
    '12 notes merge, 1 off its place'
    >>> losses(StepChoice(Fraction(1, 6), 0.0, 96, 0, 0, 0))
    ''
    """
    told = []
    if choice.collided:
        notes = "note merges" if choice.collided == 1 else "notes merge"
        told.append(f"{choice.collided:,} {notes}")
    if choice.misplaced:
        notes = "" if told else "note " if choice.misplaced == 1 else "notes "
        place = "its place" if choice.misplaced == 1 else "their places"
        told.append(f"{choice.misplaced:,} {notes}off {place}")
    return ", ".join(told)


def step_sentence(choices: Sequence[StepChoice]) -> str:
    """Return what the chosen step loses, and another that is worth knowing, with its option.

    That is the coarsest finer one that loses at most half as much, or, where nothing is lost, the coarser
    one that loses least. ``choices`` are those of a grid, the chosen one first; empty if there are none.
    """
    if not choices:
        return ""
    chosen = choices[0]
    lost = losses(chosen)
    sentence = f"step {chosen.step_beats}{f': {lost}' if lost else ' holds every note'}"
    other = _other(chosen, choices)
    if other is None:
        return sentence
    if not lost:
        return f"{sentence} (--step {other.step_beats}: {losses(other)})"
    ratio = chosen.step_beats / other.step_beats
    rows = _MORE.get(ratio, f"{float(ratio):.3g} times as many steps")
    return f"{sentence}; --step {other.step_beats}: {losses(other) or 'none'}, {rows}"


def _other(chosen: StepChoice, choices: Sequence[StepChoice]) -> StepChoice | None:
    finer = [
        each
        for each in choices
        if each.step_beats < chosen.step_beats and _lost(each) <= FEWER * _lost(chosen)
    ]
    coarser = [each for each in choices if each.step_beats > chosen.step_beats]
    if _lost(chosen):
        return max(finer, key=lambda each: each.step_beats, default=None)
    lossy = [each for each in coarser if _lost(each)]
    return min(lossy, key=lambda each: (_lost(each), -each.step_beats), default=None)


def _lost(choice: StepChoice) -> int:
    return choice.collided + choice.misplaced
