"""A sheet written in other steps.

In steps that are finer by a whole factor it sounds the same. In others each bar keeps its place, and
what starts in it goes to the nearest step of that bar. Where two tones would start on one step the
longer one stays, of two drums the nearer one; what had to go is told.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate
from math import floor, gcd
from typing import TYPE_CHECKING

from arranger.rows import HOLD, REST, tone_spans

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.rows import Row
    from arranger.sheet.model import Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Refitted:
    """A sheet in other steps."""

    sheet: Sheet
    lost: tuple[tuple[int, int], ...] = ()
    """Row (1, 2 the voices, 3 the drums) and step, in the steps before, of what had to go."""


def in_steps_of(sheet: Sheet, step_beats: Fraction) -> Refitted:
    """Return the sheet in steps of so many beats; the step length that is played isn't changed."""
    if sheet.step_beats == step_beats:
        return Refitted(sheet=sheet)
    ruler = _Ruler(sheet, sheet.step_beats / step_beats)
    lost: list[tuple[int, int]] = []
    voice1 = _voice(sheet.voice1, 1, ruler, lost)
    voice2 = _voice(sheet.voice2, 2, ruler, lost)
    drums = _drums(sheet.drums, ruler, lost)
    bars = [
        bar._replace(steps=steps) for bar, steps in zip(sheet.bars, ruler.bar_steps, strict=True)
    ]
    loop = sheet.loop_step
    return Refitted(
        sheet=replace(
            sheet.with_rows((voice1, voice2, drums)),
            step_beats=step_beats,
            bars=tuple(bars),
            loop_step=None if loop is None else ruler.start(loop),
        ),
        lost=tuple(lost),
    )


def between_steps(sheet: Sheet, step_beats: Fraction) -> list[int]:
    """Return the sheet's steps that don't start with a step of so many beats."""
    ruler = _Ruler(sheet, sheet.step_beats / step_beats)
    return [step for step in range(len(sheet.drums)) if ruler.off(step)]


def common_step(one: Fraction, other: Fraction) -> Fraction:
    """Return the longest step in which both can be written exactly."""
    return Fraction(
        gcd(one.numerator * other.denominator, other.numerator * one.denominator),
        one.denominator * other.denominator,
    )


class _Ruler:
    """Where steps go; each bar by itself, so that no bar gains or loses time to another."""

    def __init__(self, sheet: Sheet, factor: Fraction) -> None:
        self._factor = factor
        self._old = sheet.bar_starts
        self.bar_steps = [max(_nearest(bar.steps * factor), 1) for bar in sheet.bars]
        self._new = (0, *accumulate(self.bar_steps))
        self.steps = self._new[-1]

    def start(self, step: int) -> int:
        """Return the step on which something starts now: one of the same bar."""
        bar = bisect_right(self._old, step) - 1
        return min(self._new[bar] + _nearest(self.exactly(step)), self._new[bar + 1] - 1)

    def end(self, step: int) -> int:
        """Return the step before which something ends now."""
        if step >= self._old[-1]:
            return self.steps
        bar = bisect_right(self._old, step) - 1
        return min(self._new[bar] + _nearest(self.exactly(step)), self._new[bar + 1])

    def exactly(self, step: int) -> Fraction:
        """Return how many of the new steps a step is after the start of its bar."""
        return (step - self._old[bisect_right(self._old, step) - 1]) * self._factor

    def off(self, step: int) -> Fraction:
        """Return by how much of a new step the start of something is moved."""
        bar = bisect_right(self._old, step) - 1
        return abs(self.start(step) - self._new[bar] - self.exactly(step))


def _nearest(value: Fraction) -> int:
    return floor(value + Fraction(1, 2))


def _voice(row: Row, number: int, ruler: _Ruler, lost: list[tuple[int, int]]) -> Row:
    starting: dict[int, tuple[int, int, int]] = {}
    for tone in tone_spans(row):
        start, end, _ = tone
        at = ruler.start(start)
        other = starting.get(at)
        if other is not None and other[1] - other[0] >= end - start:
            lost.append((number, start))
            continue
        if other is not None:
            lost.append((number, other[0]))
        starting[at] = tone
    cells = [REST] * ruler.steps
    for at, (_, end, pitch) in starting.items():
        last = max(ruler.end(end), at + 1)
        cells[at:last] = [pitch, *[HOLD] * (last - at - 1)]
    return tuple(cells)


def _drums(
    row: Sequence[str | None], ruler: _Ruler, lost: list[tuple[int, int]]
) -> tuple[str | None, ...]:
    starting: dict[int, int] = {}
    for step, sound in enumerate(row):
        if sound is None:
            continue
        at = ruler.start(step)
        other = starting.get(at)
        if other is None or ruler.off(step) < ruler.off(other):
            starting[at] = step
            if other is not None:
                lost.append((3, other))
        else:
            lost.append((3, step))
    return tuple(row[starting[at]] if at in starting else None for at in range(ruler.steps))
