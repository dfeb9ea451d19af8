"""The exact one-bit signal: the clock cycles in which the pin changes.

From the schedule (`arranger.sound.schedule`) each voice's flips follow in closed form, without
stepping through the passes of the loop:

* a phase accumulator flips its voice when it passes a multiple of ``2 ** (bits - 1)``, so the m-th
  flip comes with the first pass n for which ``accumulator + n * increment >= m * 2 ** (bits - 1)``;
* a period counter flips its voice every ``setting`` passes, once what is left of the count before
  has run out. A silent voice goes on counting, so that a tone after silence starts at once.

`blocks` gives that compact form, a few seconds at a time; `edges` writes it out as changes of the
pin; `arranger.sound.audio` hears it without writing it out. Memory stays bounded for any length.
Waiting states that some machines add to memory or port accesses are not modelled.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import ranges
from arranger.engine.pitch_table import FREQUENCY_BITS
from arranger.sound.schedule import SILENT_PERIOD, Burst, Pause, Stretch, schedule

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from arranger.columns import Ints
    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet

    Cycles = Ints
    Levels = NDArray[np.int8]
    Item = Stretch | Pause | Burst

_STRETCHES_A_BLOCK = 256
_PASSES_A_BLOCK = 1 << 17


class Block(NamedTuple):
    """Some seconds of a piece: what the voices and the drums do to the pin."""

    starts: Cycles
    """Shape (stretches,): the cycle of each stretch's first write of voice 1."""
    passes: Ints
    flips1: Cycles
    """The cycles of the writes with which voice 1 shows its other level, in order."""
    flips2: Cycles
    level1: int
    """The levels at the start of the block."""
    level2: int
    write_cycles: Cycles
    """Writes between stretches, in order, and what they write."""
    write_levels: Levels


def edges(sheet: Sheet, engine: Engine) -> Iterator[tuple[Cycles, Levels]]:
    """Yield the pin's changes in blocks: cycles, strictly rising, and levels, 0 or 1.

    The pin is low before the first change and after the last.

    Parameters
    ----------
    sheet, engine
        What to play, and on what.

    Raises
    ------
    SheetError
        If the engine can't play the sheet.
    """
    if engine.method == "alternate":
        from arranger.sound import alternate

        yield from alternate.alternate_edges(sheet, engine)
        return
    period = engine.profile.loop.cycles
    offset = voice2_offset(engine)
    before = 0
    for block in blocks(sheet, engine):
        cycles, levels = _writes(block, period, offset)
        changed = levels != np.concatenate(([before], levels[:-1]))
        if len(levels):
            before = int(levels[-1])
        if changed.any():
            yield cycles[changed], levels[changed]


def voice2_offset(engine: Engine) -> int:
    """Return the cycles from showing voice 1 to showing voice 2."""
    loop = engine.profile.loop
    return loop.second_write - loop.voice1_write


def _writes(block: Block, period: int, offset: int) -> tuple[Cycles, Levels]:
    """Return every write of the pin in a block, in order."""
    index = ranges(block.passes)
    first = np.repeat(block.starts, block.passes) + index * period
    second = first + offset
    level1 = (block.level1 + np.searchsorted(block.flips1, first, side="right")) % 2
    level2 = (block.level2 + np.searchsorted(block.flips2, second, side="right")) % 2
    cycles = np.concatenate((first, second, block.write_cycles))
    levels = np.concatenate((level1, level2, block.write_levels)).astype(np.int8)
    order = np.argsort(cycles, kind="stable")
    return cycles[order], levels[order]


def blocks(sheet: Sheet, engine: Engine) -> Iterator[Block]:
    """Yield the piece in its compact form.

    Raises `SheetError` if the engine can't play the sheet.
    """
    offset = voice2_offset(engine)
    voice1, voice2 = _voice(engine), _voice(engine)
    for part in _parts(schedule(sheet, engine)):
        stretches = [item for item in part if isinstance(item, Stretch)]
        starts, passes, settings1, settings2, behind = (
            np.array(stretches, dtype=np.int64).reshape(-1, 5).T
        )
        level1, level2 = voice1.level, voice2.level
        flips1 = voice1.flips(starts, passes, settings1, behind)
        flips2 = voice2.flips(starts + offset, passes, settings2, behind)
        write_cycles, write_levels = _writes_between(part, (level1, flips1), (level2, flips2))
        yield Block(starts, passes, flips1, flips2, level1, level2, write_cycles, write_levels)


def _writes_between(part: list[Item], *voices: tuple[int, Cycles]) -> tuple[Cycles, Levels]:
    """Return the writes between stretches; a pause shows the voices in turn: level before, flips."""
    writes = [item for item in part if not isinstance(item, Stretch)]
    lengths = np.array([len(item.cycles) for item in writes], dtype=np.int64)
    cycles = np.concatenate([np.empty(0, np.int64), *(item.cycles for item in writes)])
    levels = np.zeros(len(cycles), dtype=np.int8)
    bursts = np.array([isinstance(item, Burst) for item in writes], dtype=np.bool_)
    written = np.repeat(bursts, lengths)
    shown = [item.levels for item in writes if isinstance(item, Burst)]
    levels[written] = np.concatenate([np.empty(0, np.int8), *shown])
    turn = ranges(lengths) % len(voices)
    for place, (level, flips) in enumerate(voices):
        here = ~written & (turn == place)
        levels[here] = (level + np.searchsorted(flips, cycles[here])) % 2
    return cycles, levels


def _parts(items: Iterable[Item]) -> Iterator[list[Item]]:
    """Yield the schedule in parts of bounded size."""
    part: list[Item] = []
    passes = 0
    for item in items:
        part.append(item)
        passes += item.passes if isinstance(item, Stretch) else len(item.cycles)
        if len(part) >= _STRETCHES_A_BLOCK or passes >= _PASSES_A_BLOCK:
            yield part
            part, passes = [], 0
    if part:
        yield part


def _voice(engine: Engine) -> _PhaseVoice | _CounterVoice:
    period = engine.profile.loop.cycles
    if engine.method == "counter":
        return _CounterVoice(period, SILENT_PERIOD if engine.profile.player else 1)
    bits = FREQUENCY_BITS if engine.method == "frequencies" else engine.profile.pitch.bits
    return _PhaseVoice(period, 1 << (bits - 1))


class _PhaseVoice:
    """A phase accumulator. Its state lives as long as one pass over a piece."""

    def __init__(self, period: int, half_turn: int) -> None:
        self.level = 0
        self._period = period
        self._half_turn = half_turn
        self._phase = 0

    def flips(self, starts: Cycles, passes: Ints, settings: Ints, behind: Ints) -> Cycles:
        """Return the cycles of the flips in consecutive stretches whose writes begin so."""
        counted = settings * (passes + behind)
        after: Ints = self._phase + np.cumsum(counted)
        before = after - counted
        turns = before // self._half_turn
        numbers = after // self._half_turn - turns
        index = ranges(numbers)
        goal = (np.repeat(turns, numbers) + 1 + index) * self._half_turn
        missing = goal - np.repeat(before, numbers)
        passed = -(-missing // np.repeat(settings, numbers))
        if len(after):
            self._phase = int(after[-1]) % self._half_turn
        self.level = (self.level + len(passed)) % 2
        waited = np.maximum(passed - 1 - np.repeat(behind, numbers), 0)
        result: Cycles = np.repeat(starts, numbers) + waited * self._period
        return result


class _CounterVoice:
    """A period counter. Its state lives as long as one pass over a piece."""

    def __init__(self, period: int, silent: int) -> None:
        self.level = 0
        self._period = period
        self._silent = silent
        self._left = 1

    def flips(self, starts: Cycles, passes: Ints, settings: Ints, behind: Ints) -> Cycles:
        """Return the cycles of the flips in consecutive stretches whose writes begin so."""
        firsts, numbers = [], []
        for length, setting in zip((passes + behind).tolist(), settings.tolist(), strict=True):
            firsts.append(self._left)
            number = 0
            if setting == 0:
                left = self._left - length
                self._left = left if left > 0 else (left - 1) % self._silent + 1
            else:
                if self._left <= length:
                    number = 1 + (length - self._left) // setting
                self._left += number * setting - length
            numbers.append(number)
        index = ranges(np.array(numbers, dtype=np.int64))
        passed = np.repeat(np.array(firsts, dtype=np.int64), numbers)
        passed += index * np.repeat(settings, numbers)
        self.level = (self.level + len(passed)) % 2
        waited = np.maximum(passed - 1 - np.repeat(behind, numbers), 0)
        result: Cycles = np.repeat(starts, numbers) + waited * self._period
        return result
