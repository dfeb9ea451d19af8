"""The measures of a score: the bars of the sheet, with what is special about some of them.

A first bar that is shorter than its metre is a pickup, and so is one of its own metre that is half as
long as the second bar's or less, which is how MIDI files say it. A bar that the piece goes back into is written
as two measures, since a repeat sign is a bar line. A bar of another length than its metre's has a
metre of its own that isn't printed.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from arranger.sheet.score.metre import Metre, metre_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.sheet.model import Sheet, SheetBar


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
