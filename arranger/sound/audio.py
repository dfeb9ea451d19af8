"""Audio: samples from the pin's changes, without writing the pin out.

Each flip of a voice switches a train of pulses on or off, each flip of a drum is a step of the pin;
both have known, band-limited kernels (`arranger.sound.bandlimit`). The samples are the sum of the
kernels, summed up once more by a leaky integrator. The leak is a first-order high-pass at 10 Hz,
which any loudspeaker has too: the pin's resting level, high or low, is silence.

The gain is set so that the largest jump of the pin, overshoot of the low-pass included, peaks at
-12 dBFS. A steady tone swings around the middle of its two levels and stays 6 dB below that. In noise
bursts the overshoots of jumps close together add up, by 1.1 dB at most over all drums and rates; what
would exceed the peak is clipped there.

Memory stays bounded; equal sheets give equal bytes.
"""

from __future__ import annotations

from math import exp, pi
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.sound import alternate
from arranger.sound.bandlimit import PHASES, step_kernels, train_kernels
from arranger.sound.mixing import add_kernels, integrate
from arranger.sound.schedule import total_cycles
from arranger.sound.signal import Block, blocks, voice2_offset

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from arranger.columns import Floats, Ints
    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet

    Samples = NDArray[np.float32]

PEAK = 10 ** (-12 / 20)
HIGH_PASS_HZ = 10.0

_SECONDS_A_ROW = 0.14
"""The integrator works in rows in which the leak fades to exp(-8.8): far from using up float64."""

VOICE1, VOICE2, STILL = range(3)
"""Kinds of change: the train of a voice, and the pin standing still at a level."""


class Changes(NamedTuple):
    """Changes of one kind within a part of the piece."""

    kind: int
    cycles: Ints
    signs: NDArray[np.int8]
    """1: switched on, or up; -1: off, or down."""


class ChannelBlock(NamedTuple):
    """A part of the piece."""

    until: int
    """All changes before this cycle are given by now."""
    channels: tuple[tuple[Changes, ...], ...]
    """What each channel hears."""


def raw_samples(
    sheet: Sheet, engine: Engine, sample_rate: int, *, split: bool = False
) -> Iterator[Samples]:
    """Yield the sound of a sheet in blocks.

    ``sheet``, ``engine``: what to play, and on what.
    ``sample_rate``: samples a second.
    ``split``: voice 1 left, voice 2 right, drums on both: blocks of shape (n, 2) in place of (n,).
    """
    parts = (
        _alternating(sheet, engine, split)
        if engine.method == "alternate"
        else _looping(sheet, engine, split)
    )
    frames = total_cycles(sheet, engine) * sample_rate // engine.clock_hz
    mixer = _Mixer(engine, sample_rate, 2 if split else 1, frames)
    for part in parts:
        mixer.add(part)
        heard = mixer.take(part.until)
        if len(heard):
            yield heard if split else heard[:, 0]
    heard = mixer.take(None)
    if len(heard):
        yield heard if split else heard[:, 0]


def _alternating(sheet: Sheet, engine: Engine, split: bool) -> Iterator[ChannelBlock]:
    first, second = frozenset((0, 1)), frozenset((0, 2))
    listeners = (first, second) if split else (alternate.EVERYBODY,)
    for until, sides in alternate.alternate_blocks(sheet, engine, listeners):
        yield ChannelBlock(
            until, tuple((Changes(STILL, side.times, 2 * side.levels - 1),) for side in sides)
        )


def _looping(sheet: Sheet, engine: Engine, split: bool) -> Iterator[ChannelBlock]:
    pin = _Pin(engine)
    for block in blocks(sheet, engine):
        first, second, still = pin.changes(block)
        channels = ((first, still), (second, still)) if split else ((first, second, still),)
        yield ChannelBlock(pin.until, channels)


class _Pin:
    """Who has the pin: the voices' trains, or a level at which it stands still.

    Its state lives as long as one pass over a piece.
    """

    def __init__(self, engine: Engine) -> None:
        self.until = 0
        self._period = engine.profile.loop.cycles
        self._offset = voice2_offset(engine)
        self._end = 0
        self._standing = False
        self._level = 0

    def changes(self, block: Block) -> tuple[Changes, Changes, Changes]:
        """Return the changes of voice 1, voice 2 and the pin standing still in a block."""
        ends = np.concatenate(([self._end], block.starts + block.passes * self._period))
        gaps = np.flatnonzero(block.starts != ends[:-1])
        resumed = block.starts[gaps]
        left = ends[gaps]
        if self._standing:
            left = left[1:]
        self._end = int(ends[-1])
        trailing = len(block.write_cycles) and block.write_cycles[-1] >= self._end
        if trailing and not (self._standing and not len(block.starts)):
            left = np.append(left, self._end)
        self._standing = bool(trailing)
        self.until = max(self._end, int(block.write_cycles[-1]) if trailing else 0)
        return (
            _train(VOICE1, block.flips1, block.level1, left, resumed, 0),
            _train(VOICE2, block.flips2, block.level2, left, resumed, self._offset),
            self._still(block, left, resumed),
        )

    def _still(self, block: Block, left: Ints, resumed: Ints) -> Changes:
        """Return how the pin moves between stretches: first it stays as voice 2 left it."""
        cycles = np.concatenate((left, block.write_cycles, resumed))
        shown = (block.level2 + np.searchsorted(block.flips2, left)) % 2
        levels = np.concatenate((shown, block.write_levels, np.zeros(len(resumed), np.int64)))
        order = np.argsort(cycles, kind="stable")
        cycles, levels = cycles[order], levels[order]
        signs = np.diff(levels, prepend=self._level)
        if len(levels):
            self._level = int(levels[-1])
        return Changes(STILL, cycles[signs != 0], signs[signs != 0].astype(np.int8))


def _train(kind: int, flips: Ints, level: int, left: Ints, resumed: Ints, offset: int) -> Changes:
    """Return when a voice's train is switched on and off: by flips, and around gaps if it is high."""
    signs = 1 - 2 * ((level + np.arange(len(flips))) % 2)
    stopped = left[(level + np.searchsorted(flips, left)) % 2 == 1] + offset
    started = resumed[(level + np.searchsorted(flips, resumed)) % 2 == 1] + offset
    cycles = np.concatenate((flips, stopped, started))
    signs = np.concatenate((signs, -np.ones(len(stopped)), np.ones(len(started))))
    order = np.argsort(cycles, kind="stable")
    return Changes(kind, cycles[order], signs[order].astype(np.int8))


class _Mixer:
    """Adds up kernels and gives samples. Its state lives as long as one pass over a piece."""

    def __init__(self, engine: Engine, sample_rate: int, channels: int, frames: int) -> None:
        clock = engine.clock_hz
        still = step_kernels(clock, sample_rate)
        kernels = [still] * 3
        if engine.method != "alternate":
            period = engine.profile.loop.cycles
            offset = voice2_offset(engine)
            kernels[VOICE1] = train_kernels(clock, sample_rate, period, offset)
            kernels[VOICE2] = train_kernels(clock, sample_rate, period, period - offset)
        gain = PEAK / np.cumsum(still.table, axis=1).max()
        gains = [gain, gain, gain if engine.method == "alternate" else gain / channels]
        self._kernels = list(zip(kernels, gains, strict=True))
        self._clock = clock
        self._rate = sample_rate
        self._before = max(kernel.before for kernel in kernels)
        self._width = max(kernel.table.shape[1] for kernel in kernels)
        self._frames = frames
        # A change at cycle 0 is heard a little before sample 0: there the sums begin.
        self._next = -self._before
        self._sums = np.zeros((channels, 0))
        leak = exp(-2 * pi * HIGH_PASS_HZ / sample_rate)
        self._fading = np.power(leak, np.arange(1.0, int(_SECONDS_A_ROW * sample_rate) + 1))
        self._growing = 1 / self._fading
        self._heights = np.zeros(channels)

    def add(self, part: ChannelBlock) -> None:
        """Add the changes of a part."""
        told = [
            (channel, changes)
            for channel, heard in enumerate(part.channels)
            for changes in heard
            if len(changes.cycles)
        ]
        self._reserve(max((int(changes.cycles[-1]) for _, changes in told), default=0))
        for channel, changes in told:
            self._add(self._sums[channel], changes)

    def _reserve(self, cycle: int) -> None:
        """Make room for the kernels of changes up to a cycle."""
        reach = cycle * self._rate // self._clock - self._next + self._width
        missing = reach - self._sums.shape[1]
        if missing > 0:
            self._sums = np.pad(self._sums, ((0, 0), (0, missing)))

    def _add(self, sums: Floats, changes: Changes) -> None:
        """Add the kernels of changes of one kind to the sums of a channel."""
        kernel, gain = self._kernels[changes.kind]
        sample, fraction = np.divmod(changes.cycles * self._rate, self._clock)
        rows = fraction * PHASES // self._clock
        firsts = sample - (self._next + kernel.before)
        add_kernels(sums, firsts, rows, gain * changes.signs, kernel.table)

    def take(self, until: int | None) -> Samples:
        """Return the next samples, shape (frames, channels): the leaky integral of what was added.

        Those that no change from cycle ``until`` on can touch any more; None: all up to the end.
        """
        end = self._frames
        if until is not None:
            end = min(until * self._rate // self._clock - self._before, end)
        frames = max(end - self._next, 0)
        taken = self._sums[:, :frames]
        missing = frames - taken.shape[1]
        if missing:
            taken = np.pad(taken, ((0, 0), (0, missing)))
        self._sums = self._sums[:, frames:]
        early = max(-self._next, 0)
        self._next += frames
        return integrate(taken, self._growing, self._fading, self._heights, PEAK)[early:]
