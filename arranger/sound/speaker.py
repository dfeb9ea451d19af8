"""Speaker models: how the pin sounds through a real loudspeaker, roughly.

Each model is a chain of second-order analogue sections, stated by corner frequency and quality:

=======  ===========================================================================
raw      the pin itself
small    a cone of a few centimetres in a plastic case: high-pass 350 Hz (Q 0.9),
         low-pass 6 kHz (Q 0.7)
piezo    a piezoelectric disc: high-pass 900 Hz (Q 0.7), resonance at 3.2 kHz
         (Q 3, +9 dB), low-pass 9 kHz (Q 0.7)
=======  ===========================================================================

The figures are common practice, no source; they are for an impression, not a measurement. The
sections become digital by the bilinear transform with the corner frequency kept in place (W3C Audio
EQ Cookbook, from memory). Their joint impulse response, which has died away to less than
the last bit of 16 within the length used, is applied by overlap-add FFT convolution: exact, and
fast without a compiled recursion.

A filter may raise the peak of a square wave. The gain is set beforehand, so that no second pass over
the sound is needed: the pin has two levels, and a speaker, which passes no steady level, hears half
its swing to either side of the middle. A signal that follows the signs of the impulse response would
come out with half the swing times the sum of the response's absolute values; with the overshoots of
the band-limited pin (1.14 at most over all drums and rates) that is made to be the swing, which is
-12 dBFS.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from arranger.columns import Floats

_RESPONSE_SECONDS = 0.025
"""The slowest pole (350 Hz, Q 0.9) decays by exp(-pi * 350 / 0.9 * 0.025) < 1e-13 in this time."""


OVERSHOOT = 1.14
"""How far the band-limited pin swings beyond its two levels, at most, as a factor."""


class Biquad(NamedTuple):
    """One second-order section."""

    kind: str
    """"high-pass", "low-pass" or "peak"."""
    hz: float
    quality: float
    gain_db: float = 0.0
    """Of a peak."""


@dataclass(frozen=True, slots=True)
class Speaker:
    """A chain of sections."""

    sections: tuple[Biquad, ...]

    def response(self, sample_rate: int) -> Floats:
        """Return the impulse response, shape (n,), its absolute values summing to 2 / `OVERSHOOT`."""
        size = 1 << int(np.ceil(np.log2(_RESPONSE_SECONDS * sample_rate)))
        delay = np.exp(-2j * pi * np.arange(size // 2 + 1) / size)
        spectrum = np.ones(size // 2 + 1, dtype=np.complex128)
        for section in self.sections:
            above, below = coefficients(section, sample_rate)
            spectrum *= np.polyval(above[::-1], delay) / np.polyval(below[::-1], delay)
        impulse = np.fft.irfft(spectrum, size)
        result: Floats = impulse * (2 / OVERSHOOT / np.abs(impulse).sum())
        return result

    def play(
        self, blocks: Iterable[NDArray[np.float32]], sample_rate: int
    ) -> Iterator[NDArray[np.float32]]:
        """Yield the blocks filtered; each comes out as long as it went in.

        The speaker's ringing after the last block, a few milliseconds, is cut off.
        """
        response = self.response(sample_rate)
        tail: Floats | None = None
        for block in blocks:
            frames = len(block)
            channels = block.reshape(frames, -1).T.astype(np.float64)
            size = 1 << (frames + len(response) - 2).bit_length()
            spectrum = np.fft.rfft(channels, size) * np.fft.rfft(response, size)
            heard = np.fft.irfft(spectrum, size)[:, : frames + len(response) - 1]
            if tail is not None:
                heard[:, : tail.shape[1]] += tail[:, : heard.shape[1]]
            tail = heard[:, frames:]
            yield heard[:, :frames].T.reshape(block.shape).astype(np.float32)


def coefficients(
    section: Biquad, sample_rate: int
) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Return numerator and denominator of a section in powers of the unit delay."""
    angle = 2 * pi * section.hz / sample_rate
    slope = sin(angle) / (2 * section.quality)
    level = cos(angle)
    if section.kind == "low-pass":
        return ((1 - level) / 2, 1 - level, (1 - level) / 2), (1 + slope, -2 * level, 1 - slope)
    if section.kind == "high-pass":
        return ((1 + level) / 2, -1 - level, (1 + level) / 2), (1 + slope, -2 * level, 1 - slope)
    root = 10 ** (section.gain_db / 40)
    return (
        (1 + slope * root, -2 * level, 1 - slope * root),
        (1 + slope / root, -2 * level, 1 - slope / root),
    )


SPEAKERS: dict[str, Speaker | None] = {
    "raw": None,
    "small": Speaker((Biquad("high-pass", 350, 0.9), Biquad("low-pass", 6000, 0.7))),
    "piezo": Speaker(
        (Biquad("high-pass", 900, 0.7), Biquad("peak", 3200, 3, 9), Biquad("low-pass", 9000, 0.7))
    ),
}
"""The models by name; None leaves the pin's sound as it is."""
