"""The frequency heard in the rendered sound is the one that the pitch table states.

Measured by FFT (numpy's, of the audio alone): a Hann window over most of the longest step, padded to
eight times its length, and the peak of the parabola through the three highest logarithms of
magnitude near the expected place (J. O. Smith, "Spectral Audio Signal Processing", quadratic
interpolation of spectral peaks, from memory). With a window of 0.9 s bins are 1.1 Hz apart before
padding; the method is good to some thousandths of that, 0.2 cents at 33 Hz.

The reference is equal temperament at A4 = 440 Hz (ISO 16:1975), written out here again.
"""

from __future__ import annotations

from math import log2
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.engine import builtin_engines, load_engine
from arranger.sheet.model import REST
from arranger.sound import samples
from tests.sound.sheets import sheet_of

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


@pytest.mark.parametrize("voice", [1, 2])
@pytest.mark.parametrize("name", builtin_engines())
def test_every_pitch_sounds_as_its_table_says(name: str, voice: int) -> None:
    engine = load_engine(name)
    length = engine.step_lengths[-1]
    pitches = list(engine.pitches.values())
    cells = [pitch.midi for pitch in pitches]
    rest = [REST] * len(cells)
    rows = (cells, rest) if voice == 1 else (rest, cells)
    sheet = sheet_of(engine, *rows, step_setting=length.setting)
    sound = np.concatenate(list(samples(sheet, engine, sample_rate=RATE)))
    for index, pitch in enumerate(pitches):
        begin = round((index + 0.05) * length.seconds * RATE)
        end = round((index + 0.95) * length.seconds * RATE)
        tempered = 440.0 * 2 ** ((pitch.midi - 69) / 12)
        cents = 1200 * log2(measured_hz(sound[begin:end], tempered) / tempered)
        assert cents == pytest.approx(pitch.cents, abs=1.0), pitch


def test_the_measurement_finds_a_known_frequency() -> None:
    times = np.arange(20_000) / RATE
    for hz in (32.9, 440.7, 2093.8):
        square = np.sign(np.sin(2 * np.pi * hz * times)).astype(np.float32)
        assert 1200 * log2(measured_hz(square, hz * 1.01) / hz) == pytest.approx(0, abs=0.3)
