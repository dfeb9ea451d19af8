"""Measuring the frequency of rendered sound.

Measured by FFT (numpy's, of the audio alone): a Hann window over most of the longest step, padded to
eight times its length, and the peak of the parabola through the three highest logarithms of
magnitude near the expected place ("Spectral Audio Signal Processing", quadratic
interpolation of spectral peaks, from memory). With a window of 0.9 s bins are 1.1 Hz apart before
padding; the method is good to some thousandths of that, 0.2 cents at 33 Hz.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

RATE = 22_050
PADDING = 8
SEARCH_CENTS = 60
"""A pitch is looked for this far around equal temperament: further than any table may be off."""


def measured_hz(sound: NDArray[np.float32], near_hz: float) -> float:
    """Return the frequency of the strongest partial near one asked for."""
    size = PADDING * len(sound)
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), size))
    reach = 2 ** (SEARCH_CENTS / 1200)
    low, high = int(near_hz / reach * size / RATE), int(near_hz * reach * size / RATE) + 2
    top = low + int(np.argmax(spectrum[low:high]))
    left, middle, right = np.log(spectrum[top - 1 : top + 2])
    return float((top + (left - right) / (left - 2 * middle + right) / 2) * RATE / size)
