"""What a reader should know of a grid: tempo that isn't even, bars that go by another division."""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from typing import TYPE_CHECKING

import numpy as np

from arranger.bars import runs_named
from arranger.grid.steps.choose import MOST_OFF_TEMPO, off_tempo_percent
from arranger.grid.steps.off_step import bars_off_step
from arranger.grid.tempi import bar_tempos, part_places, tempi_in_words, tempo_changes
from arranger.song.time import seconds_at

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.columns import Floats
    from arranger.engine.model import Engine
    from arranger.grid.model import StepChoice
    from arranger.grid.timeline import Timeline
    from arranger.settings import GridSettings
    from arranger.song.model import Song

MOST_KINDS = 2


def tempo_remarks(
    song: Song, timeline: Timeline, bars: slice, settings: GridSettings
) -> Iterator[str]:
    """Yield what there is to say of changes of tempo in some bars of the timeline."""
    lines = slice(bars.start, bars.stop + 1)
    if timeline.basis == "tracked":
        beats = part_places(timeline.bar_beats[lines])
        at = timeline.beat_length * np.arange(len(timeline.beats_seconds))
        seconds = np.interp(beats, at, timeline.beats_seconds)
    else:
        ticks = part_places(timeline.bar_ticks[lines].astype(np.float64))
        beats, seconds = ticks / song.ticks_per_beat, seconds_at(song, ticks)
    numbers = [label.number for label in timeline.labels[bars]]
    sentence = tempi_in_words(
        tempo_changes(bar_tempos(beats, seconds), timeline.own_bpm), timeline.own_bpm, numbers
    )
    if not sentence:
        return
    if settings.clock == "clock" and timeline.basis == "file":
        yield f"{sentence}; steps follow the clock, so slower passages become longer tones"
        return
    clock = "" if timeline.basis == "tracked" else " (--clock clock: as they are)"
    yield f"{sentence}; all bars are played evenly at {timeline.bpm:.4g}{clock}"


def step_remarks(
    choices: Sequence[StepChoice],
    engine: Engine,
    timeline: Timeline,
    attack_beats: Floats,
    bars: slice,
) -> Iterator[str]:
    """Yield what there is to say of the step: that it misses the tempo, and where it misses the rhythm."""
    best = choices[0]
    off = off_tempo_percent(engine, timeline.bpm, best.step_beats)
    if off > MOST_OFF_TEMPO:
        nearer = [each for each in choices[1:] if _in_tempo(engine, timeline.bpm, each.step_beats)]
        other = f"; --step {nearer[0].step_beats} comes nearer" if nearer else ""
        yield (
            f"the engine's nearest step is {off:.1f} % off the tempo of {timeline.bpm:.4g} beats "
            f"a minute{other}"
        )
    if not best.misplaced:
        return
    lines = timeline.bar_beats[bars.start : bars.stop + 1]
    inside = attack_beats[(attack_beats >= lines[0]) & (attack_beats < lines[-1])]
    played = timeline.basis == "tracked"
    found = bars_off_step(inside, lines, best.step_beats, timeline.bpm, played=played)
    numbers = [label.number for label in timeline.labels[bars]]
    for each in found[:MOST_KINDS]:
        places = runs_named([numbers[bar] for bar in each.bars])
        both = Fraction(1, lcm(best.step_beats.denominator, each.step_beats.denominator))
        offered = any(choice.step_beats == both for choice in choices)
        yield (
            f"{places}: {each.what}; {each.attacks} attacks are heard off their places there"
            f"{f' (--step {both} holds all)' if offered else ''}"
        )


def _in_tempo(engine: Engine, bpm: float, step: Fraction) -> bool:
    return off_tempo_percent(engine, bpm, step) <= MOST_OFF_TEMPO
