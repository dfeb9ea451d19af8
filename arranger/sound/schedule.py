"""What the routine does when: stretches in which the sound loop runs, and drums.

Time is counted in clock cycles from the moment the pin first shows voice 1. A **pass** of the loop
gives the pin to voice 1, then to voice 2; in a **stretch** each voice counts with one setting.
Between stretches (a drum, the overhead of a step) the pin stands still but for the drum's flips.

Two kinds of routine:

``profile.player == "z80"``
    This project's own (``arranger/machine/player.asm``). Nothing interrupts its passes: new events
    are fetched while the voices play on. The figures below are that source's, and the tests count
    them there.
other
    A routine of the musician's own, as its TOML file says: every step is a run of passes and then
    ``steps.overhead_cycles`` in which the pin stands still.

Drums flip the pin at growing (kick) or equal (noise) distances; see `drum_flips`.
"""

from __future__ import annotations

from functools import cache
from itertools import chain, groupby, pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.engine.player import MOST_CHUNKS, chunking
from arranger.sheet.played import played_steps, step_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from arranger.columns import Ints
    from arranger.engine.model import DrumSound, Engine
    from arranger.sheet.model import Sheet
    from arranger.sheet.played import PlayedStep

PAUSED = -1
"""Setting of a voice that doesn't count in this stretch."""

KEEP_PASSES = 3
"""Passes that an event of the player begins with, in which the tones before it still sound."""
REST_PASS = 2
"""The pass of a tone event (from 1) in which voice 2 rests while the keys are read.

So voice 2 sounds flat by one pass an event: 0.4 cents where events last 150 ms, 1.6 at the shortest.
"""
DRUM_KEEP_PASSES = 2
"""The same for a drum event; then the voices stop."""
DRUM_FIRST_FLIP_PASSES = 5
"""From the start of a drum event to the drum's first flip."""
DRUM_OVERHEAD_PASSES = 8
"""Passes of a drum event in which neither the drum nor the silence after it can be counted."""

END_WRITE_CYCLES = 395
"""From the end of the last event to the write that leaves the pin low."""

NOISE_SEED = 0xFFFF
NOISE_TAPS = 0x2D
"""Galois form, shifting left, of x^16 + x^5 + x^3 + x^2 + 1: all 65,535 states occur (tested)."""
NOISE_BIT = 0x10
NOISE_PERIOD = 65_535


class Stretch(NamedTuple):
    """Passes in a row, each voice with one setting: 0 silent, `PAUSED`, or of the pitch table."""

    start: int
    """The cycle at which the pin shows voice 1 for the first time."""
    passes: int
    setting1: int
    setting2: int


class Burst(NamedTuple):
    """Writes outside the loop: a drum's, or the one that leaves the pin low at the end."""

    cycles: Ints
    levels: NDArray[np.int8]


class Event(NamedTuple):
    """What the player is told in one go: steps in a row that sound alike, or one drum."""

    steps: int
    setting1: int
    """What voice 1 counts with (0: silent); for a drum what it will count with after it."""
    setting2: int
    drum: DrumSound | None


def schedule(sheet: Sheet, engine: Engine) -> Iterator[Stretch | Burst]:
    """Yield what the routine does, in order of time.

    Parameters
    ----------
    sheet, engine
        What to play, and on what (any method but ``alternate``).

    Raises
    ------
    SheetError
        If the engine can't play the sheet.
    """
    if engine.profile.player:
        return _own(sheet, engine)
    return _foreign(sheet, engine)


def total_cycles(sheet: Sheet, engine: Engine) -> int:
    """Return how long the sheet takes."""
    return sheet.steps * step_length(sheet, engine).cycles


def events(sheet: Sheet, engine: Engine) -> list[tuple[Event, ...]]:
    """Return the player's events, bar by bar; a bar that holds the loop step is cut there.

    No event crosses a bar, so that bars which sound alike have equal events.

    Raises
    ------
    SheetError
        If the engine can't play the sheet.
    """
    steps = _lasting(sheet, engine)
    chunks, _ = chunking(step_length(sheet, engine).setting)
    longest = MOST_CHUNKS // chunks
    ends = {*sheet.bar_starts, sheet.loop_step or 0, len(steps)}
    borders = sorted(end for end in ends if end <= len(steps))
    bars = [tuple(steps[start:end]) for start, end in pairwise(borders) if start < end]
    found = {bar: tuple(_events(bar, longest)) for bar in set(bars)}  # many bars sound alike
    return [found[bar] for bar in bars]


def _lasting(sheet: Sheet, engine: Engine) -> list[Event]:
    """Return one event a step; under a drum the voices have what they will have after it."""
    settings = {None: 0} | {midi: pitch.setting for midi, pitch in engine.pitches.items()}
    steps = played_steps(sheet, engine)
    tones = {
        step: Event(1, settings[step.voice1], settings[step.voice2], None)
        for step in set(steps)
        if step.drum is None
    }
    found: list[Event] = []
    last = Event(1, 0, 0, None)
    for step in steps:
        if step.drum is None:
            last = tones[step]
            found.append(last)
        else:
            found.append(Event(1, last.setting1, last.setting2, step.drum))
    return found


def _events(steps: Sequence[Event], longest: int) -> Iterator[Event]:
    for event, group in groupby(steps):
        left = len(list(group))
        if event.drum is not None:
            yield from [event] * left
            continue
        while left:
            run = min(left, longest)
            yield Event(run, event.setting1, event.setting2, None)
            left -= run


def _own(sheet: Sheet, engine: Engine) -> Iterator[Stretch | Burst]:
    cycles = engine.profile.loop.cycles
    step = step_length(sheet, engine).setting
    drums: dict[DrumSound, tuple[Ints, NDArray[np.int8]]] = {}
    first, second = 0, 0
    start = 0
    for event in chain.from_iterable(events(sheet, engine)):
        passes = event.steps * step
        if event.drum is not None:
            yield Stretch(start, DRUM_KEEP_PASSES, first, second)
            burst = start + DRUM_FIRST_FLIP_PASSES * cycles
            room = (passes - DRUM_OVERHEAD_PASSES) * cycles
            if event.drum not in drums:
                drums[event.drum] = drum_flips(event.drum, room)
            flips, levels = drums[event.drum]
            yield Burst(burst + flips, levels)
            yield Stretch(start + (passes - 1) * cycles, 1, first, second)
        else:
            rest = start + (REST_PASS - 1) * cycles
            keep = start + REST_PASS * cycles
            yield Stretch(start, REST_PASS - 1, first, second)
            yield Stretch(rest, 1, first, PAUSED)
            yield Stretch(keep, KEEP_PASSES - REST_PASS, first, second)
            first, second = event.setting1, event.setting2
            yield Stretch(start + KEEP_PASSES * cycles, passes - KEEP_PASSES, first, second)
        start += passes * cycles
    yield Stretch(start, DRUM_KEEP_PASSES, first, second)
    yield Burst(np.array([start + END_WRITE_CYCLES], dtype=np.int64), np.zeros(1, dtype=np.int8))


def _foreign(sheet: Sheet, engine: Engine) -> Iterator[Stretch | Burst]:
    settings = {None: 0} | {midi: pitch.setting for midi, pitch in engine.pitches.items()}
    loop = engine.profile.loop
    length = step_length(sheet, engine)
    passes = (length.cycles - engine.profile.steps.overhead_cycles) // loop.cycles
    start = 0
    for step in played_steps(sheet, engine):
        begun = 0
        if step.drum is not None:
            room = passes * loop.cycles
            flips, levels = drum_flips(step.drum, room)
            yield Burst(start + flips, levels)
            sounding = step.drum.cycles or room
            begun = passes if engine.drum_takes_step else -(-sounding // loop.cycles)
        if begun < passes:
            yield _stretch(step, settings, start + begun * loop.cycles, passes - begun)
        start += length.cycles
    yield Burst(np.array([start], dtype=np.int64), np.zeros(1, dtype=np.int8))


def _stretch(step: PlayedStep, settings: dict[int | None, int], start: int, passes: int) -> Stretch:
    return Stretch(start, passes, settings[step.voice1], settings[step.voice2])


def drum_flips(drum: DrumSound, room: int) -> tuple[Ints, NDArray[np.int8]]:
    """Return when a drum writes the pin, in cycles from its start, and which levels.

    A kick's n-th half period lasts ``first + n * growth`` cycles. Noise draws a random bit each
    ``first`` cycles and flips the pin if it is 1.

    Parameters
    ----------
    drum
        The drum sound.
    room
        Cycles within which it must end; it also ends after its own ``cycles``.
    """
    length = min(drum.cycles or room, room)
    kind, settings, _ = drum.parts[0]
    first, growth = (*settings, 0)[:2]
    if kind == "kick":
        times = [0]
        half = first
        while times[-1] < length and half > 0:
            times.append(times[-1] + half)
            half += growth
        flips = np.array([time for time in times if time < length], dtype=np.int64)
        levels = ((1 + np.arange(len(flips))) % 2).astype(np.int8)
    else:
        flips = np.arange(0, length, first, dtype=np.int64)
        levels = (np.cumsum(noise_bits(len(flips))) % 2).astype(np.int8)
    return flips, levels


def drum_passes(drum: DrumSound, engine: Engine, room: int) -> int:
    """Return for how many passes of the player a drum sounds, if there is room for so many."""
    return min(-(-drum.cycles // engine.profile.loop.cycles) or room, room)


def noise_bits(count: int) -> NDArray[np.int8]:
    """Return the first bits of the noise, 0 or 1."""
    return np.resize(_noise(min(1 << count.bit_length(), NOISE_PERIOD)), count)


@cache
def _noise(count: int) -> NDArray[np.int8]:
    """Return so many bits of the noise; the few lengths that are asked for are kept."""
    state = NOISE_SEED
    found = np.empty(count, dtype=np.int8)
    for index in range(count):
        state = (state << 1) ^ (NOISE_TAPS if state & 0x8000 else 0)
        state &= 0xFFFF
        found[index] = bool(state & NOISE_BIT)
    found.flags.writeable = False
    return found
