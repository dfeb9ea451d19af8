"""A sheet to begin with: bars of silence that an engine plays."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from arranger.errors import OutputError, UsageError
from arranger.files import writes_through
from arranger.rows import REST
from arranger.settings import STEP_CHOICES
from arranger.sheet.form.blocks import MAX_BAR_STEPS
from arranger.sheet.form.header_values import UnknownWord, read_step
from arranger.sheet.form.text import implied_steps, plain_number
from arranger.sheet.io import write_sheet
from arranger.sheet.model import MAX_STEPS, Sheet, SheetBar
from arranger.sheet.played import MOST_OFF_TEMPO, off_tempo, played_bpm, step_length

if TYPE_CHECKING:
    from fractions import Fraction
    from pathlib import Path

    from arranger.engine.model import Engine

SUFFIX = ".duet"


def blank_sheet(
    engine: Engine,
    *,
    title: str,
    engine_name: str,
    bars: int,
    metre: tuple[int, int],
    tempo: float,
    step_beats: Fraction,
    pickup: int = 0,
) -> Sheet:
    """Return a sheet of silent bars, numbered from 1.

    ``engine``: what plays it.
    ``title``: of the piece.
    ``engine_name``: how the header names the engine.
    ``bars``: how many, the pickup not counted; at least 1.
    ``metre``: numerator and denominator.
    ``tempo``: quarter notes a minute.
    ``step_beats``: a step in quarter notes.
    ``pickup``: steps of a shorter bar before the first, which has the number 0; 0: none.

    Raises `UsageError` if the steps don't fill a bar, the pickup does, there are too many steps, or
    the engine has no step length that comes near to the tempo.
    """
    steps = _bar_steps(step_beats, *metre)
    if not 0 <= pickup < steps:
        what = f"a pickup of {pickup} steps is no shorter than a bar of {steps}"
        raise UsageError(what, remedy=f"choose one of 0 to {steps - 1} steps")
    heads = [SheetBar(0, pickup, *metre)] if pickup else []
    heads += [SheetBar(number, steps, *metre) for number in range(1, bars + 1)]
    total = pickup + bars * steps
    if total > MAX_STEPS:
        remedy = f"choose at most {(MAX_STEPS - pickup) // steps:,} bars"
        raise UsageError(f"{bars:,} bars have more than {MAX_STEPS:,} steps", remedy=remedy)
    sheet = Sheet(
        title=title,
        engine=engine_name,
        step_beats=step_beats,
        tempo=tempo,
        bars=tuple(heads),
        voice1=(REST,) * total,
        voice2=(REST,) * total,
        drums=(None,) * total,
    )
    if off_tempo(sheet, engine) > MOST_OFF_TEMPO:
        nearest = played_bpm(step_beats, step_length(sheet, engine))
        steps_too = (replace(sheet, step_beats=step) for step in _filling_steps(*metre))
        others = [str(s.step_beats) for s in steps_too if off_tempo(s, engine) <= MOST_OFF_TEMPO]
        raise UsageError(
            f"{engine.name} misses tempo {plain_number(tempo)} by more than "
            f"{MOST_OFF_TEMPO:.0%} with steps of {step_beats} beat: it plays {nearest:.2f}",
            remedy=f"choose another tempo, or a step of {' or '.join(others)}"
            if others
            else "choose another tempo",
        )
    return sheet


def write_blank(path: Path, sheet: Sheet, *, force: bool) -> None:
    """Write a sheet where none stands.

    Raises `OutputError` if something stands there and ``force`` is not set, it isn't called
    NAME.duet, or it can't be written.
    """
    if not writes_through(path):
        if path.suffix != SUFFIX:
            remedy = f"end the name in {SUFFIX}"
            raise OutputError("is no sheet by its name", file=path, remedy=remedy)
        if path.exists() and not force:
            remedy = "choose another name, or overwrite it with --force"
            raise OutputError("exists already", file=path, remedy=remedy)
    write_sheet(sheet, path, by="new")


def read_step_share(text: str) -> Fraction:
    """Return the step of "1/4".

    Raises `UsageError` if it is no share of a beat.
    """
    try:
        return read_step(text)
    except UnknownWord as fault:
        raise UsageError(fault.what, remedy="write one like 1/4 or 1/6") from None


def _filling_steps(numerator: int, denominator: int) -> list[Fraction]:
    return [step for step in STEP_CHOICES if implied_steps(step, numerator, denominator)]


def _bar_steps(step_beats: Fraction, numerator: int, denominator: int) -> int:
    steps = implied_steps(step_beats, numerator, denominator)
    metre = f"{numerator}/{denominator}"
    if steps is None:
        filling = " or ".join(map(str, _filling_steps(numerator, denominator)))
        what = f"steps of {step_beats} beat don't fill a bar of {metre}"
        raise UsageError(what, remedy=f"choose {filling or 'another metre'}")
    if steps > MAX_BAR_STEPS:
        what = f"a bar of {metre} would have {steps:,} steps"
        raise UsageError(what, remedy=f"choose a longer step: at most {MAX_BAR_STEPS:,} are read")
    return steps
