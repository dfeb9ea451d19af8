"""The measures of a score: the bars of the sheet, with what is special about some of them.

A first bar that is shorter than its metre is a pickup, and so is one of its own metre that is half as
long as the second bar's or less, which is how MIDI files say it. A bar that the piece goes back into is written
as two measures, since a repeat sign is a bar line. A bar of another length than its metre's has a
metre of its own that isn't printed.

Times are quarter notes since the bar would have begun that its metre asks for: a pickup begins late.
How metres are grouped is common practice (no source): eighths and shorter by threes where the
number of the metre is a multiple of three, else by twos, with a three at the end where one is left.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.sheet.model import Sheet, SheetBar


BAR, MIDDLE, BEAT = 9, 8, 7
"""How strong a place is; each halving below the beat (or the third of a dotted one) is one less."""


class Metre(NamedTuple):
    """The beats of a bar; beyond the last they go on from the first."""

    full: Fraction
    """How long the bar is."""
    beats: tuple[Fraction, ...]
    """How long each beat is; all are alike but for the last."""
    dotted: bool
    """Whether all beats have three parts."""
    middle: Fraction | None
    """The middle of a bar of an even number of beats, four at least."""

    def beat_at(self, time: Fraction) -> tuple[Fraction, Fraction]:
        """Return the start and the length of the beat that a time is in."""
        place = time % self.full
        index = min(place // self.beats[0], len(self.beats) - 1)
        return time - place + index * self.beats[0], self.beats[index]

    def strength(self, time: Fraction) -> int:
        """Return how strong a place is; 0 where notes of no tuplet can begin."""
        place = time % self.full
        if place == 0:
            return BAR
        if place == self.middle:
            return MIDDLE
        start, beat = self.beat_at(place)
        return strength_in_beat(place - start, beat, 3 if self.has_three(beat) else 1)

    def has_three(self, beat: Fraction) -> bool:
        """Return whether a beat of this length has three parts."""
        return self.dotted or beat > self.beats[0]


@cache
def strength_in_beat(place: Fraction, length: Fraction, parts: int) -> int:
    """Return how strong a place in a beat, or in a tuplet, of so many parts is.

    >>> [strength_in_beat(Fraction(n, 4), Fraction(1), 1) for n in range(4)]
    [7, 5, 6, 5]
    >>> [strength_in_beat(Fraction(n, 4), Fraction(3, 2), 3) for n in range(6)]
    [7, 5, 6, 5, 6, 5]
    """
    if place == 0:
        return BEAT
    share = place * parts / length
    if share.denominator & (share.denominator - 1):
        return 0
    return BEAT + 1 - share.denominator.bit_length() - (parts > 1)


@cache
def metre_of(numerator: int, denominator: int, step: Fraction) -> Metre:
    """Return the beats of a metre in which notes begin on steps (in quarter notes).

    Where steps in thirds, say, meet beats that they aren't on, whole quarter notes are the beats.

    >>> metre_of(6, 8, Fraction(1, 2)).beats
    (Fraction(3, 2), Fraction(3, 2))
    >>> [str(beat) for beat in metre_of(7, 8, Fraction(1, 2)).beats]
    ['1', '1', '3/2']
    """
    unit = Fraction(4, denominator)
    full = numerator * unit
    dotted = denominator >= 8 and numerator % 3 == 0
    if dotted:
        beats = [3 * unit] * (numerator // 3)
    elif denominator >= 8 and numerator > 1:
        beats = [2 * unit] * (numerator // 2)
        beats[-1] += numerator % 2 * unit
    else:
        beats = [unit] * numerator
    on_steps = all((beat / step).denominator == 1 for beat in beats)
    if not _is_dyadic(unit) or not (on_steps or _is_dyadic(step)):
        dotted = False
        beats = [Fraction(1)] * ceil(full)
        full = Fraction(len(beats))
    even = len(beats) >= 4 and len(beats) % 2 == 0 and len(set(beats)) == 1
    return Metre(full, tuple(beats), dotted, full / 2 if even else None)


def _is_dyadic(share: Fraction) -> bool:
    return not share.denominator & (share.denominator - 1)


class Measure(NamedTuple):
    """One measure; times are quarter notes since the bar of its metre would have begun."""

    number: int
    first_step: int
    steps: int
    metre: Metre
    start: Fraction
    end: Fraction
    said: tuple[int, int] | None
    """The metre that readers are told, numerator and denominator; None where none is that long."""
    is_printed: bool
    """Whether it is the one that the bar has."""
    implicit: bool
    """Whether it isn't counted: a pickup, or the second part of a bar."""
    section: str
    """The section that begins here, or ""."""
    goes_back_here: bool
    """Whether the piece goes on here after its end."""


def measures_of(sheet: Sheet) -> list[Measure]:
    """Return the measures of a sheet."""
    found: list[Measure] = []
    bars = [_pickup_of(*sheet.bars[:2]), *sheet.bars[1:]] if sheet.steps else []
    for bar, first_step in zip(bars, sheet.bar_starts, strict=False):
        found += _measures(bar, first_step, sheet)
    return found


def metre_as_long_as(length: Fraction) -> tuple[int, int] | None:
    """Return a metre whose bars are so many quarter notes long; None if none is."""
    whole = length / 4
    if whole.denominator & (whole.denominator - 1):
        return None
    scale = max(1, 4 // whole.denominator)
    return whole.numerator * scale, whole.denominator * scale


def _pickup_of(bar: SheetBar, after: SheetBar | None = None) -> SheetBar:
    """Return a first bar, in the metre of the one after it if that makes it a pickup."""
    if after is None:
        return bar
    full = Fraction(bar.numerator, bar.denominator)
    if 2 * full > Fraction(after.numerator, after.denominator):
        return bar
    return bar._replace(numerator=after.numerator, denominator=after.denominator)


def _measures(bar: SheetBar, first_step: int, sheet: Sheet) -> Iterator[Measure]:
    """Yield the measure of a bar, or the two."""
    metre = metre_of(bar.numerator, bar.denominator, sheet.step_beats)
    length = bar.steps * sheet.step_beats
    full = Fraction(4 * bar.numerator, bar.denominator)
    pickup = first_step == 0 and length < full
    start = full - length if pickup and metre.full == full else Fraction(0)
    said: tuple[int, int] | None = (bar.numerator, bar.denominator)
    is_printed = pickup or length == full
    if not is_printed:
        said = metre_as_long_as(length)
    if said and said[1] & (said[1] - 1):
        said = None
    whole = Measure(
        bar.number, first_step, bar.steps, metre, start, start + length, said, is_printed,
        implicit=pickup, section=bar.section, goes_back_here=sheet.loop_step == first_step,
    )  # fmt: skip
    before = (sheet.loop_step or 0) - first_step
    if not 0 < before < bar.steps:
        yield whole
        return
    cut = start + before * sheet.step_beats
    yield whole._replace(steps=before, end=cut)
    yield whole._replace(
        first_step=first_step + before,
        steps=bar.steps - before,
        start=cut,
        implicit=True,
        section="",
        goes_back_here=True,
    )
