"""What the routine does when: stretches in which the sound loop runs, and drums.

Time is counted in clock cycles from the moment the pin first shows voice 1. A **pass** of the loop
gives the pin to voice 1, then to voice 2; in a **stretch** each voice counts with one setting.
Between stretches (a drum, the overhead of a step) the pin stands still but for the drum's flips.

Two kinds of routine:

``profile.player == "z80"``
    This project's own (``arranger/machine/player.asm``). The voices don't count for a few passes
    while an event is read, always as many, and make up for it. The figures below are that source's, and the tests count
    them there.
other
    A routine of the musician's own, as its TOML file says: every step is a run of passes and then
    ``steps.overhead_cycles`` in which the pin stands still.

A drum's parts flip the pin at growing (kick) or equal (noise) distances, one part after the other; see
`drum_flips`. The voices stand still meanwhile: what they have counted to stays. Unless a drum takes
the whole step (`Engine.drum_takes_step`) they go on as soon as it ends.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import begins, in_turn
from arranger.engine.model import MOST_OF_STEP
from arranger.engine.player_check import MOST_CHUNKS, PASS_CYCLES, chunking
from arranger.sheet.played import different_steps, played_steps, step_length

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from arranger.columns import Ints
    from arranger.engine.model import DrumSound, Engine, StepLength
    from arranger.engine.profile import DrumPart
    from arranger.sheet.model import Sheet
    from arranger.sheet.played import PlayedStep

READ_PASSES = 9
"""Passes for which the voices don't count while the player reads an event.

They make up for it: in the next pass each counts so many passes more, at once. Meanwhile the pin
shows their levels in turn, if not as often. So what is heard of a pause is that a flip is late.
"""
SHOWN_CYCLES = (0, 84, 255, 359, 495, 683, 850)
"""From the start of an event, when the pin shows voice 1, voice 2 and so on while it is read."""
SHOWN_BEFORE_DRUM = 5
"""How many of them come before a drum."""
SHOWN_BEFORE_END = 3
"""And before the player finds that the piece has ended."""
SILENT_PERIOD = 9
"""What a silent voice's period counter counts, in passes, so that it needs no care of its own."""
DRUM_FIRST_FLIP_PASSES = 10
"""From the start of an event with a drum to the drum's first flip."""
DRUM_PART_GAP_PASSES = 2
"""From the end of a drum's part to the first flip of the next."""
DRUM_RETURN_PASSES = 1
"""From the end of a drum's last part to the pass in which the voices sound again."""
DRUM_LEAST_TAIL_PASSES = 4
"""The voices sound for so long at least after a drum, before its step ends."""

END_WRITE_CYCLES = 434
"""From the end of the last event to the write that leaves the pin low."""

NOISE_SEED = 0xFFFF
NOISE_TAPS = 0x2D
"""Galois form, shifting left, of x^16 + x^5 + x^3 + x^2 + 1: all 65,535 states occur (tested)."""
NOISE_BIT = 0x10
"""What is heard of the state; the Z80 player takes the bit that moves its speaker."""
NOISE_PERIOD = 65_535


class Stretch(NamedTuple):
    """Passes in a row, each voice with one setting: 0 silent, or of the pitch table."""

    start: int
    """The cycle at which the pin shows voice 1 for the first time."""
    passes: int
    setting1: int
    setting2: int
    behind: int = 0
    """How many passes more each voice counts in the first one, at once."""


class Pause(NamedTuple):
    """Writes outside the loop that show the voices' levels in turn, voice 1 first."""

    cycles: Ints


class Burst(NamedTuple):
    """Writes outside the loop: a drum's, or the one that leaves the pin low at the end."""

    cycles: Ints
    levels: NDArray[np.int8]


class Event(NamedTuple):
    """What the player is told in one go: steps in a row that sound alike but for a drum at first."""

    steps: int
    setting1: int
    """What voice 1 counts with (0: silent); with a drum, after it."""
    setting2: int
    drum: DrumSound | None
    """What the first step begins with."""


class DrumTiming(NamedTuple):
    """A drum of this project's player in a step, in passes."""

    parts: tuple[tuple[DrumPart, int], ...]
    """The parts for which there is room, each with how long it sounds."""
    silence: int
    """How long nothing sounds after them; 0 unless a drum takes the whole step."""
    passes: int
    """From the start of the event to the first pass in which the voices sound again."""


def schedule(sheet: Sheet, engine: Engine) -> Iterator[Stretch | Pause | Burst]:
    """Yield what the routine does, in order of time.

    ``sheet``, ``engine``: what to play, and on what (any method but ``alternate``).

    Raises `SheetError` if the engine can't play the sheet.
    """
    if engine.profile.player:
        return _own(sheet, engine)
    return _foreign(sheet, engine)


def total_cycles(sheet: Sheet, engine: Engine) -> int:
    """Return how long the sheet takes."""
    return sheet.steps * step_length(sheet, engine).cycles


def events(sheet: Sheet, engine: Engine) -> list[Event]:
    """Return the player's events; see `different_events`."""
    different, which = different_events(sheet, engine)
    return [different[number] for number in which.tolist()]


def different_events(sheet: Sheet, engine: Engine) -> tuple[list[Event], Ints]:
    """Return the player's different events, in the order in which they come first, and which of them each is.

    One goes on until a voice changes, a drum comes, or it is too long. None crosses a bar line or the loop step, so
    that bars which sound alike have equal events.

    Raises `SheetError` if the engine can't play the sheet.
    """
    different, number = _each_step(sheet, engine)
    chunks, _ = chunking(step_length(sheet, engine).setting)
    tones = {event[1:3]: number for number, event in enumerate(different)}
    steps = len(number)
    begun = begins(np.array([tones[event[1:3]] for event in different], np.int64)[number])
    begun |= np.array([event.drum is not None for event in different], np.bool_)[number]
    begun[[at for at in (*sheet.bar_starts, sheet.loop_step or 0) if at < steps]] = True
    places = np.arange(steps)
    since = places - np.maximum.accumulate(np.where(begun, places, 0))
    firsts = np.flatnonzero(since % (MOST_CHUNKS // chunks) == 0)
    lengths, number = np.diff(firsts, append=steps), number[firsts]
    at, which = in_turn(lengths, number)
    found = zip(lengths[at].tolist(), number[at].tolist(), strict=True)
    return [Event(length, *different[number][1:]) for length, number in found], which


def _each_step(sheet: Sheet, engine: Engine) -> tuple[list[Event], Ints]:
    """Return the different events of a single step, and which of them each step is.

    Under a drum that fills it the voices have what is written there, not what is heard: a tone that
    is held over the drum needs no word then.
    """
    settings = {None: 0} | {midi: pitch.setting for midi, pitch in engine.pitches.items()}
    played, which = different_steps(sheet, engine)
    found = [
        Event(1, settings[voice1], settings[voice2], step.drum)
        for (voice1, voice2, _), step in played.items()
    ]
    return found, which


def drum_timing(drum: DrumSound, engine: Engine, step_passes: int) -> DrumTiming:
    """Return how a drum sounds in a step of this project's player.

    It is cut to `MOST_OF_STEP`, or where it silences the step, so that the voices sound for
    `DRUM_LEAST_TAIL_PASSES` of it; and it is up to 3 passes longer than it is said to be if a chunk
    would else begin or end with fewer passes than that.
    """
    _, chunk = chunking(step_passes)
    overhead = DRUM_FIRST_FLIP_PASSES + DRUM_RETURN_PASSES
    room = step_passes - overhead - DRUM_LEAST_TAIL_PASSES
    if not engine.silences(drum):
        room = min(room, int(MOST_OF_STEP * step_passes) - overhead)
    parts: list[tuple[DrumPart, int]] = []
    for part in drum.parts:
        if room > 0:
            parts.append((part, min(-(-part.cycles // PASS_CYCLES) or room, room)))
            room -= parts[-1][1] + DRUM_PART_GAP_PASSES
    if engine.drum_takes_step and room > 0:
        return DrumTiming(tuple(parts), room, step_passes - DRUM_LEAST_TAIL_PASSES)
    gaps = DRUM_PART_GAP_PASSES * (len(parts) - 1)
    passes = overhead + gaps + sum(length for _, length in parts)
    longer = -passes % chunk
    if longer < DRUM_LEAST_TAIL_PASSES:
        part, length = parts[-1]
        parts[-1] = (part, length + longer)
        passes += longer
    return DrumTiming(tuple(parts), 0, passes)


def _own(sheet: Sheet, engine: Engine) -> Iterator[Stretch | Pause | Burst]:
    step = step_length(sheet, engine).setting
    drums: dict[DrumSound, tuple[int, Burst]] = {}
    start = 0
    shown = np.array(SHOWN_CYCLES, dtype=np.int64)
    for event in events(sheet, engine):
        passes = event.steps * step
        settings = event.setting1, event.setting2
        if event.drum is None:
            yield Pause(start + shown)
            begin = start + READ_PASSES * PASS_CYCLES
            yield Stretch(begin, passes - READ_PASSES, *settings, READ_PASSES)
        else:
            if event.drum not in drums:
                timing = drum_timing(event.drum, engine, step)
                drums[event.drum] = timing.passes, timed_flips(timing, engine)
            begun, burst = drums[event.drum]
            yield Pause(start + shown[:SHOWN_BEFORE_DRUM])
            yield Burst(start + burst.cycles, burst.levels)
            yield Stretch(start + begun * PASS_CYCLES, passes - begun, *settings)
        start += passes * PASS_CYCLES
    yield Pause(start + shown[:SHOWN_BEFORE_END])
    yield Burst(np.array([start + END_WRITE_CYCLES], dtype=np.int64), np.zeros(1, dtype=np.int8))


def _foreign(sheet: Sheet, engine: Engine) -> Iterator[Stretch | Pause | Burst]:
    settings = {None: 0} | {midi: pitch.setting for midi, pitch in engine.pitches.items()}
    loop = engine.profile.loop
    length = step_length(sheet, engine)
    passes = (length.cycles - engine.profile.steps.overhead_cycles) // loop.cycles
    start = 0
    for step in played_steps(sheet, engine):
        begun = 0
        if step.drum is not None:
            parts = engine.parts_in(step.drum, length)
            burst = drum_flips([(part, part.cycles) for part in parts])
            yield Burst(start + burst.cycles, burst.levels)
            sounding = sum(part.cycles for part in parts)
            begun = passes if engine.silences(step.drum) else -(-sounding // loop.cycles)
        if begun < passes:
            yield _stretch(step, settings, start + begun * loop.cycles, passes - begun)
        start += length.cycles
    yield Burst(np.array([start], dtype=np.int64), np.zeros(1, dtype=np.int8))


def _stretch(step: PlayedStep, settings: dict[int | None, int], start: int, passes: int) -> Stretch:
    return Stretch(start, passes, settings[step.voice1], settings[step.voice2])


def timed_flips(timing: DrumTiming, engine: Engine) -> Burst:
    """Return what a drum of this project's player writes, from the start of its event."""
    parts = [(part, length * PASS_CYCLES) for part, length in timing.parts]
    gap = DRUM_PART_GAP_PASSES * PASS_CYCLES
    burst = drum_flips(parts, gap, engine.profile.port.speaker_bit)
    return Burst(DRUM_FIRST_FLIP_PASSES * PASS_CYCLES + burst.cycles, burst.levels)


def drum_flips(
    parts: Iterable[tuple[DrumPart, int]], gap: int = 0, noise_bit: int = NOISE_BIT
) -> Burst:
    """Return what a drum writes, in cycles from its first flip.

    A falling tone's n-th half period lasts ``first + n * growth`` cycles. Noise draws a random bit
    each ``first`` cycles and flips the pin if it is 1; each part draws them from the first one on. A
    rest writes once what the pin shows already.
    The pin is low before, and goes on from part to part as it was left.

    ``parts``: what sounds in turn, each with the cycles it sounds (more than 0).
    ``gap``: cycles between them, in which the pin stands still.
    ``noise_bit``: which bit of the shift register is heard.
    """
    times: list[Ints] = []
    flips: list[Ints] = []
    start = 0
    for part, length in parts:
        if part.kind == "rest":
            times.append(np.array([start], dtype=np.int64))
            flips.append(np.zeros(1, dtype=np.int64))
            start += length + gap
            continue
        first, growth = (*part.settings, 0)[:2]
        if part.kind == "kick":
            found = [0]
            while found[-1] < length:
                found.append(found[-1] + first + (len(found) - 1) * growth)
            times.append(start + np.array(found[:-1], dtype=np.int64))
            flips.append(np.ones(len(found) - 1, dtype=np.int64))
        else:
            times.append(np.arange(start, start + length, first, dtype=np.int64))
            flips.append(noise_bits(len(times[-1]), noise_bit).astype(np.int64))
        start += length + gap
    return Burst(np.concatenate(times), (np.cumsum(np.concatenate(flips)) % 2).astype(np.int8))


def silent_cycles(drum: DrumSound, engine: Engine, length: StepLength) -> int:
    """Return for how many cycles of its step a drum silences the voices (any method)."""
    cycles = engine.profile.loop.cycles
    if engine.silences(drum):
        return length.cycles
    if engine.profile.player:
        return drum_timing(drum, engine, length.setting).passes * cycles
    return -(-sum(part.cycles for part in engine.parts_in(drum, length)) // cycles) * cycles


def noise_bits(count: int, bit: int = NOISE_BIT) -> NDArray[np.int8]:
    """Return the first bits of the noise, 0 or 1, as a bit of the shift register's low byte has them."""
    return np.resize(_noise(min(1 << count.bit_length(), NOISE_PERIOD), bit), count)


@cache
def _noise(count: int, bit: int) -> NDArray[np.int8]:
    """Return so many bits of the noise; the few lengths that are asked for are kept."""
    state = NOISE_SEED
    found = np.empty(count, dtype=np.int8)
    for index in range(count):
        state = (state << 1) ^ (NOISE_TAPS if state & 0x8000 else 0)
        state &= 0xFFFF
        found[index] = bool(state & bit)
    found.flags.writeable = False
    return found
