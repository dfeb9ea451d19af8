"""One square-wave timer channel that the two voices have in turn (method ``alternate``).

Time is counted in clocks of the timer from the start of the piece. A **tick** is ``loop.cycles``
clocks, a **turn** is ``loop.turn`` ticks. While both voices sound they alternate, voice 1 first in every
step and after every drum; a voice that sounds alone keeps the channel. A drum gives the channel a
divisor a tick: a falling tone one that grows steadily, noise pseudo-random ones, drawn anew in each
part. Each part ends with the tick in which its last clock lies. Then the voices sound, or with
``drum_takes_step`` silence.

The timer is channel 2 of an 8253 or 8254 in mode 3, square wave (data sheet of the 8254, order number
231164, "Mode 3: square wave mode", from memory):

1. With a count N the output is high for (N + 1) // 2 clocks and low for N // 2.
2. A count that is written while counting is taken up at the end of the half cycle under way; the
   output never jumps. A write at clock t counts for half cycles that end after t.
3. After the control word the output is high, and the first count is loaded with the next clock,
   which here is clock 0. The piece's first divisor is that count.

The pin is the timer's output AND the speaker's data bit (bit 1 of port 61h). Silence clears that
bit only; the timer runs on with its last count. At the end of the piece a pulse that has begun sounds
out: cut short it would be a click. Departure from the hardware: port writes take place exactly at the
tick. The player sees to it that rule 2 gives the same flips all the same; what is late is the speaker
bit, by what a CPU needs to write it.
"""

from __future__ import annotations

from itertools import accumulate, chain, groupby, islice, pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import ranges
from arranger.engine.model import StepLength
from arranger.sheet.played import played_steps, step_length

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from arranger.columns import Ints
    from arranger.engine.model import DrumSound, Engine
    from arranger.engine.profile import DrumPart
    from arranger.sheet.model import Sheet
    from arranger.sheet.played import PlayedStep

NOISE_SEED = 0xACE1
NOISE_TAPS = 0xB400
"""Galois form of x^16 + x^14 + x^13 + x^11 + 1, a primitive polynomial: all 65,535 states occur."""

_LONGEST_RUN = 0xFFFF
_RUNS_A_BLOCK = 4096


class DivisorRun(NamedTuple):
    """A stretch of ticks in which the channel keeps one divisor."""

    ticks: int
    divisor: int
    """0: silent."""
    owner: int
    """1 or 2: the voice that has the channel; 0: a drum, or nobody."""


def divisor_runs(sheet: Sheet, engine: Engine) -> list[tuple[int, int]]:
    """Return what the channel plays as (ticks, divisor) pairs, divisor 0 for silence.

    One begins where the sheet's loop does.

    Raises `SheetError` if the engine can't play the sheet.
    """
    merged = []
    every = list(runs(sheet, engine))
    starts = accumulate((run.ticks for run in every), initial=0)
    loop = loop_tick(sheet, engine)
    marked = [
        (run.divisor, start >= loop, run.ticks) for start, run in zip(starts, every, strict=False)
    ]
    for (divisor, _looped), group in groupby(marked, key=lambda each: each[:2]):
        left = sum(ticks for *_, ticks in group)
        while left > _LONGEST_RUN:
            merged.append((_LONGEST_RUN, divisor))
            left -= _LONGEST_RUN
        merged.append((left, divisor))
    return merged


def loop_tick(sheet: Sheet, engine: Engine) -> int:
    """Return the tick at which a sheet's loop begins; without one 0."""
    return (sheet.loop_step or 0) * (
        step_length(sheet, engine).cycles // engine.profile.loop.cycles
    )


def runs(sheet: Sheet, engine: Engine) -> Iterator[DivisorRun]:
    """Yield what has the channel for how long, from the first step to the last."""
    ticks = step_length(sheet, engine).cycles // engine.profile.loop.cycles
    known: dict[PlayedStep, list[DivisorRun]] = {}
    for step in played_steps(sheet, engine):
        if step not in known:
            known[step] = list(_step_runs(step, engine, ticks))
        yield from known[step]


def _step_runs(step: PlayedStep, engine: Engine, ticks: int) -> Iterator[DivisorRun]:
    begun = 0
    if step.drum is not None:
        divisors = drum_divisors(step.drum, engine, ticks)
        begun = len(divisors)
        for divisor, group in groupby(divisors):
            yield DivisorRun(sum(1 for _ in group), divisor, 0)
    divisor1, divisor2 = (
        0 if voice is None else engine.pitches[voice].setting
        for voice in (step.voice1, step.voice2)
    )
    length = engine.profile.loop.turn
    if divisor1 and divisor2:
        for turn, start in enumerate(range(begun, ticks, length)):
            divisor = divisor2 if turn % 2 else divisor1
            yield DivisorRun(min(length, ticks - start), divisor, 1 + turn % 2)
    elif begun < ticks:
        yield DivisorRun(
            ticks - begun, divisor1 or divisor2, 1 if divisor1 else 2 if divisor2 else 0
        )


def part_ticks(drum: DrumSound, engine: Engine, ticks: int) -> list[tuple[DrumPart, int]]:
    """Return the parts that a drum has in a step of so many ticks, and the ticks of each."""
    clocks = engine.profile.loop.cycles
    step = StepLength(ticks, ticks * clocks, ticks * clocks / engine.clock_hz)
    parts = engine.parts_in(drum, step)
    ends = [-(-end // clocks) for end in accumulate(part.cycles for part in parts)]
    lengths = [end - start for start, end in pairwise([0, *ends])]
    return [(part, length) for part, length in zip(parts, lengths, strict=True) if length]


def drum_divisors(drum: DrumSound, engine: Engine, ticks: int) -> list[int]:
    """Return the divisors that a drum gives the channel, one a tick, at most so many ticks."""
    return [
        divisor
        for part, length in part_ticks(drum, engine, ticks)
        for divisor in _part_divisors(part, length)
    ]


def _part_divisors(part: DrumPart, ticks: int) -> Iterator[int]:
    """Yield a divisor a tick.

    A kick's settings are its first divisor and the growth a tick; those of noise are the smallest
    divisor and a bit mask of what chance may add to it.
    """
    first, second = (*part.settings, 0, 0)[:2]
    state = NOISE_SEED
    for tick in range(ticks):
        if part.kind != "noise":
            yield min(first + second * tick, 0xFFFF)
        else:
            state = state >> 1 ^ (NOISE_TAPS if state & 1 else 0)
            yield first + (state & second)


class PinChanges(NamedTuple):
    """The pin's changes as one listener hears them."""

    times: Ints
    """In clocks, strictly rising."""
    levels: NDArray[np.int8]
    """0 or 1, in turn."""


EVERYBODY = frozenset((0, 1, 2))


def alternate_edges(sheet: Sheet, engine: Engine) -> Iterator[PinChanges]:
    """Yield the pin's changes in blocks.

    The pin is low before the first change and after the piece.

    Raises `SheetError` if the engine can't play the sheet.
    """
    for _until, (side,) in alternate_blocks(sheet, engine, (EVERYBODY,)):
        if len(side.times):
            yield side


def alternate_blocks(
    sheet: Sheet, engine: Engine, listeners: Sequence[frozenset[int]]
) -> Iterator[tuple[int, list[PinChanges]]]:
    """Yield the clock up to which all is told, and the changes since the block before.

    ``sheet``, ``engine``: what to play, and on what.
    ``listeners``: for each side, whose turns reach the pin; the timer counts in any case. ``{0,
    1}`` is voice 1 with the drums.

    Raises `SheetError` if the engine can't play the sheet.
    """
    yield from pin_blocks(runs(sheet, engine), engine.profile.loop.cycles, listeners)


def pin_blocks(
    played: Iterable[DivisorRun], clocks_a_tick: int, listeners: Sequence[frozenset[int]]
) -> Iterator[tuple[int, list[PinChanges]]]:
    """Yield the pin's changes for runs of any origin; see `alternate_blocks`."""
    waiting = iter(played)
    silent = []
    for run in waiting:
        silent.append(run)
        if run.divisor:
            break
    timer = _Timer(silent[-1].divisor or 2 if silent else 2)
    everything = chain(silent, waiting)
    now = 0
    pins = [0] * len(listeners)
    while block := list(islice(everything, _RUNS_A_BLOCK)):
        ends = now + clocks_a_tick * np.cumsum([run.ticks for run in block])
        starts = np.concatenate(([now], ends[:-1]))
        before = timer.level
        flips = timer.play(ends, [run.divisor for run in block])
        # The output after each of its flips, and at the start of each run after flips at that clock.
        after_flips = (before + 1 + np.arange(len(flips))) % 2
        at_starts = (before + np.searchsorted(flips, starts, side="right")) % 2
        within = np.searchsorted(ends, flips, side="left")
        sides = []
        for index, owners in enumerate(listeners):
            heard = np.array([bool(run.divisor) and run.owner in owners for run in block])
            # What the pin shows at the end of a block is for the next one to say.
            inside = heard[within] & (flips < ends[-1])
            side = _changes(
                np.concatenate((flips[inside], starts)),
                np.concatenate((after_flips[inside], at_starts * heard)).astype(np.int8),
                pins[index],
            )
            pins[index] = int(side.levels[-1]) if len(side.levels) else pins[index]
            sides.append(side)
        now = int(ends[-1])
        yield now, sides
    end = timer.next_flip if timer.level else now
    yield (
        end,
        [
            PinChanges(np.full(level, end, dtype=np.int64), np.zeros(level, dtype=np.int8))
            for level in pins
        ],
    )


def _changes(times: Ints, levels: NDArray[np.int8], before: int) -> PinChanges:
    """Return the real changes: of several at one clock the last stands, what changes nothing goes."""
    order = np.argsort(times, kind="stable")
    times, levels = times[order], levels[order]
    last = np.append(times[1:] != times[:-1], True)
    times, levels = times[last], levels[last]
    real = levels != np.concatenate(([before], levels[:-1]))
    return PinChanges(times[real], levels[real])


class _Timer:
    """A timer channel in mode 3. Its state lives as long as one pass over a piece."""

    def __init__(self, count: int) -> None:
        self.level = 1
        self._count = count
        self.next_flip = (count + 1) // 2

    def play(self, ends: Ints, divisors: list[int]) -> Ints:
        """Return the clocks at which the output flips, through consecutive runs that end so.

        A run's divisor is written when the run before it ends, and taken up by the flips after that
        clock, up to and including its own end; 0 leaves the count as it is.
        """
        rows: list[tuple[int, int, int, int]] = []
        for end, divisor in zip(ends.tolist(), divisors, strict=True):
            self._count = divisor or self._count
            if self.next_flip > end:
                continue
            # After the first flip the output has the other level, for half a cycle of the new count.
            half = self._count // 2 if self.level else (self._count + 1) // 2
            periods, rest = divmod(end - self.next_flip, self._count)
            number = 2 * periods + 1 + (rest >= half)
            rows.append((self.next_flip, half, self._count, number))
            self.next_flip += number // 2 * self._count + number % 2 * half
            self.level = (self.level + number) % 2
        table = np.array(rows, dtype=np.int64).reshape(-1, 4)
        first, halves, lengths, _ = np.repeat(table, table[:, 3], axis=0).T
        index = ranges(table[:, 3])
        flips: Ints = first + index // 2 * lengths + index % 2 * halves
        return flips
