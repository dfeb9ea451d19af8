"""What really sounds on each step: the sheet seen through its engine.

A drum silences both voices while it sounds, at most to the end of its step; with ``drum_takes_step``
always so long. Everything that plays or exports a sheet starts here, so that audio, machine code and
exports can't disagree.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SheetError
from arranger.pitch import pitch_name
from arranger.rows import pitches_of, tones
from arranger.sheet.form.header_values import WRITE_TEMPO
from arranger.sheet.sounds import sounds_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from fractions import Fraction

    from arranger.columns import Ints
    from arranger.engine.model import DrumSound, Engine, StepLength
    from arranger.sheet.mark import SheetMark
    from arranger.sheet.model import Sheet


MOST_OFF_TEMPO = 0.03
"""An engine may miss a tempo by this share before that is told."""


_SLOWEST_BEAT = 0xFF_FFFF
"""Microseconds: three bytes (Standard MIDI File 1.0, Set Tempo)."""


class PlayedStep(NamedTuple):
    """One step as it sounds."""

    voice1: int | None
    """The MIDI number that sounds, if only after the drum, or None."""
    voice2: int | None
    drum: DrumSound | None


def played_steps(sheet: Sheet, engine: Engine) -> tuple[PlayedStep, ...]:
    """Return what sounds on each step of a sheet.

    Raises `SheetError` if the rows differ in length, or ask for a pitch, a drum sound or a step
    length that isn't there, or the sheet defines a drum sound that the engine can't play.
    """
    written = _written(sheet, engine)
    played = _all_played(sheet, engine, dict.fromkeys(written))
    return tuple([played[cells] for cells in written])


Cells = tuple[int | None, int | None, str | None]
"""What a step has: the pitch that each voice holds, and the name of the drum sound."""


def different_steps(sheet: Sheet, engine: Engine) -> tuple[dict[Cells, PlayedStep], Ints]:
    """Return how each different step of a sheet sounds, and which of them each step is; see `played_steps`."""
    import numpy as np  # what only checks a sheet doesn't wait for it

    from arranger.columns import in_turn

    _check(sheet, engine)
    voice1, voice2 = pitches_of(sheet.voice1), pitches_of(sheet.voice2)
    names = [*dict.fromkeys(sheet.drums)]
    number = {name: at for at, name in enumerate(names)}
    drum = np.fromiter(map(number.__getitem__, sheet.drums), np.int64, sheet.steps)
    first, which = in_turn(voice1, voice2, drum)
    columns = (
        [None if pitch < 0 else pitch for pitch in voice1[first].tolist()],
        [None if pitch < 0 else pitch for pitch in voice2[first].tolist()],
        [names[at] for at in drum[first].tolist()],
    )
    return _all_played(sheet, engine, zip(*columns, strict=True)), which


def _written(sheet: Sheet, engine: Engine) -> list[Cells]:
    """Return what each step has."""
    _check(sheet, engine)
    return list(zip(tones(sheet.voice1), tones(sheet.voice2), sheet.drums, strict=True))


def _check(sheet: Sheet, engine: Engine) -> None:
    if not len(sheet.voice1) == len(sheet.voice2) == len(sheet.drums):
        raise SheetError("the voices and the drums differ in length", remedy="complete the rows")
    step_length(sheet, engine)


def _all_played(
    sheet: Sheet, engine: Engine, different: Iterable[Cells]
) -> dict[Cells, PlayedStep]:
    """Return how steps sound that a sheet has."""
    sounds = sounds_of(sheet, engine)
    played: dict[Cells, PlayedStep] = {}
    for cells in different:
        try:
            played[cells] = _played(*cells, engine, sounds)
        except SheetError as error:
            error.place = place_of(sheet, _written(sheet, engine).index(cells))
            raise
    return played


def _played(
    voice1: int | None,
    voice2: int | None,
    name: str | None,
    engine: Engine,
    sounds: Mapping[str, DrumSound],
) -> PlayedStep:
    for pitch in (voice1, voice2):
        if pitch is not None and pitch not in engine.pitches:
            raise SheetError(
                f"{pitch_name(pitch)} is outside the pitch table of {engine.name}",
                remedy=f"play {pitch_name(engine.lowest)} to {pitch_name(engine.highest)}",
            )
    if name is None:
        return PlayedStep(voice1, voice2, None)
    if name not in sounds:
        raise SheetError(
            f"{engine.name} has no drum sound {name!r}",
            remedy=f"choose one of {', '.join(sounds) or '(it has no drums)'}",
        )
    if engine.silences(sounds[name]):
        return PlayedStep(None, None, sounds[name])
    return PlayedStep(voice1, voice2, sounds[name])


def drums_in_use(steps: Iterable[PlayedStep]) -> tuple[DrumSound, ...]:
    """Return the drum sounds of some steps, each once, in order of their first hit."""
    return tuple(dict.fromkeys(step.drum for step in steps if step.drum is not None))


def step_length(sheet: Sheet | SheetMark, engine: Engine) -> StepLength:
    """Return the step length that a sheet asks its engine for: its own, else nearest to its tempo.

    Raises `SheetError` if the engine's list doesn't have its length, or it has neither length nor
    tempo.
    """
    if sheet.length is None:
        if sheet.tempo is None:
            raise SheetError("has no line 'tempo'", remedy=WRITE_TEMPO)
        return engine.nearest_step_length(step_seconds(sheet.step_beats, sheet.tempo))
    entry = own_length(sheet, engine)
    if entry is None:
        first, last = engine.step_lengths[0].setting, engine.step_lengths[-1].setting
        raise SheetError(
            f"{engine.name} has no step length {sheet.length}",
            remedy="write tempo instead of length, or choose one from the engine's list "
            f"({first} to {last}): arranger engines {engine.name}",
        )
    return entry


def own_length(sheet: Sheet | SheetMark, engine: Engine) -> StepLength | None:
    """Return the entry of an engine's list that a sheet names by its setting, or None."""
    return next((each for each in engine.step_lengths if each.setting == sheet.length), None)


def step_seconds(step_beats: Fraction, bpm: float) -> float:
    """Return how long a step of so many quarter notes should last at a tempo."""
    return float(step_beats) * 60.0 / bpm


def beat_microseconds(sheet: Sheet | SheetMark, engine: Engine) -> int:
    """Return a beat as it is played, in the whole microseconds that a MIDI file has for it."""
    # s/step * us/s / (beat/step) = us/beat
    beat = round(step_length(sheet, engine).seconds * 1e6 / float(sheet.step_beats))
    return min(max(beat, 1), _SLOWEST_BEAT)


def off_tempo(sheet: Sheet, engine: Engine) -> float:
    """Return by which share an engine misses the tempo that a sheet says; 0 where it says none."""
    if sheet.tempo is None:
        return 0.0
    played = played_bpm(sheet.step_beats, step_length(sheet, engine))
    return abs(sheet.tempo - played) / played


def played_bpm(step_beats: Fraction, length: StepLength) -> float:
    """Return the tempo that a step length plays."""
    return 60.0 * float(step_beats) / length.seconds


def place_of(sheet: Sheet, step: int) -> str:
    """Return where a step stands, as people count: "bar 3, step 2" (both from the sheet's bars).

    Where the song's number of the bar is another, it is told beside it.
    """
    from arranger.sheet.record.against import bar_names

    for index, (bar, end) in enumerate(zip(sheet.bars, sheet.bar_starts[1:], strict=True)):
        if step < end:
            return f"bar {bar_names(sheet)[index]}, step {step - end + bar.steps + 1}"
    return f"step {step + 1}"
