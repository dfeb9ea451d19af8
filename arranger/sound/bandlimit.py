"""Band-limited kernels: how the pin's changes sound at a sample rate.

The pin's level passes an ideal low-pass, then is sampled: no alias reaches the audible band, which is
here everything up to 20 kHz or 0.45 of the sample rate, whichever is lower. What a change of the pin
adds to the samples is known beforehand:

* a **step** (the pin changes and stays) adds the step response of the low-pass;
* a **train** (in every pass of the loop the pin is high for ``on`` of ``period`` cycles, from now on)
  adds the sum of the step responses of its pulses. Its repetition lies above the audible band and is
  taken away, so that it settles at ``on / period`` after a few pulses; but the way there, and with it
  how the harmonics of a tone mix with the pulses, is exact.

A kernel is the difference from sample to sample of that response, tabulated at `PHASES` positions
between two samples; summing up whatever kernels were added gives the sound.

The low-pass is a sinc in a Kaiser window (J. F. Kaiser, "Nonrecursive digital filter design using the
I0-sinh window function", 1974; its design formulae from memory).
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import unchanging

if TYPE_CHECKING:
    from arranger.columns import Floats

PHASES = 2048
"""A change is placed to 1 / 4096 of a sample: at 44.1 kHz, a fiftieth of a cycle at 3.5 MHz."""

STOPBAND_DB = 80.0
_AUDIBLE_HZ = 20_000.0
_STOP_HZ = 28_000.0
"""At high rates the low-pass need not reach far beyond the audible band."""

_GRID_HZ = 14e6
"""Responses are worked out at least this finely."""


class LowPass(NamedTuple):
    """The edges of the low-pass."""

    pass_hz: float
    stop_hz: float

    @property
    def seconds(self) -> float:
        """How long its impulse response is (Kaiser's estimate)."""
        return (STOPBAND_DB - 7.95) / (14.36 * (self.stop_hz - self.pass_hz))


def low_pass(sample_rate: int) -> LowPass:
    """Return the low-pass for a sample rate.

    What lies above ``sample_rate - pass_hz`` would be heard as an alias below ``pass_hz``.
    """
    audible = min(_AUDIBLE_HZ, 0.45 * sample_rate)
    return LowPass(audible, min(sample_rate - audible, _STOP_HZ))


class Kernels(NamedTuple):
    """What a change adds to the differences between samples."""

    table: Floats
    """Shape (PHASES, taps): row p is for a change p / PHASES of a sample after sample n."""
    before: int
    """The first column belongs to sample n - before."""


@lru_cache(maxsize=4)
def step_kernels(clock_hz: int, sample_rate: int) -> Kernels:
    """Return the kernels of a step."""
    return _kernels(_step_response(clock_hz, sample_rate), clock_hz, sample_rate, 1.0)


@lru_cache(maxsize=4)
def train_kernels(clock_hz: int, sample_rate: int, period: int, on: int) -> Kernels:
    """Return the kernels of a train of pulses.

    ``clock_hz``, ``sample_rate``: cycles and samples a second.
    ``period``, ``on``: cycles from pulse to pulse, and how many of them the pin is high.
    """
    grid = _grid(clock_hz)
    response = _step_response(clock_hz, sample_rate)
    risen = np.concatenate((response, np.ones(on * grid)))
    for start in range(period * grid, len(risen), period * grid):
        end = min(start + period * grid, len(risen))
        risen[start:end] += risen[start - period * grid : end - period * grid]
    fallen = np.concatenate((np.zeros(on * grid), risen))[: len(risen)]
    return _kernels(risen - fallen, clock_hz, sample_rate, on / period)


def _grid(clock_hz: int) -> int:
    """Return the parts into which a clock cycle is divided."""
    return ceil(_GRID_HZ / clock_hz)


def _half_length(clock_hz: int, sample_rate: int) -> int:
    """Return half the length of the low-pass on the fine grid."""
    return ceil(low_pass(sample_rate).seconds / 2 * clock_hz * _grid(clock_hz))


@lru_cache(maxsize=4)
def _step_response(clock_hz: int, sample_rate: int) -> Floats:
    """Return the integral of the low-pass's impulse response, from 0 to 1, on the fine grid."""
    band = low_pass(sample_rate)
    beta = 0.1102 * (STOPBAND_DB - 8.7)
    half = _half_length(clock_hz, sample_rate)
    seconds = np.arange(-half, half + 1) / (clock_hz * _grid(clock_hz))
    cut = band.pass_hz + band.stop_hz
    impulse = np.sinc(cut * seconds) * np.kaiser(len(seconds), beta)
    middles = np.concatenate(([0.0], (impulse[1:] + impulse[:-1]) / 2))
    response: Floats = np.cumsum(middles) / middles.sum()
    return unchanging(response)


def _kernels(response: Floats, clock_hz: int, sample_rate: int, final: float) -> Kernels:
    """Return a response, whose time 0 is where the low-pass's is, as differences at all phases."""
    grid_hz = clock_hz * _grid(clock_hz)
    zero = _half_length(clock_hz, sample_rate)
    before = ceil(zero / grid_hz * sample_rate)
    after = ceil((len(response) - zero) / grid_hz * sample_rate) + 1
    samples = np.arange(-before - 1, after + 1) - (np.arange(PHASES) / PHASES)[:, np.newaxis]
    # Straight lines between the points of the fine grid; beyond its ends the response stays.
    places = np.clip(samples * (grid_hz / sample_rate) + zero, 0, len(response) - 1)
    points = np.minimum(places.astype(np.intp), len(response) - 2)
    rises = np.diff(response)
    heights = response.take(points) + (places - points) * rises.take(points)
    heights[:, -1] = final
    return Kernels(unchanging(np.diff(heights, axis=1)), before)
