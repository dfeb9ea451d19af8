"""The frequency heard in the rendered sound is the one that the pitch table states.

Measured by FFT of the audio alone; see `tests.sound.measure` for the method and its accuracy.

The reference is equal temperament at A4 = 440 Hz (ISO 16:1975), written out here again.
"""

from __future__ import annotations

from math import log2

import numpy as np
import pytest

from arranger.engine import builtin_engines, load_engine
from arranger.rows import REST
from arranger.sound import samples
from tests.sound.measure import RATE, measured_hz
from tests.sound.sheets import sheet_of


@pytest.mark.parametrize("voice", [1, 2])
@pytest.mark.parametrize("name", builtin_engines())
def test_every_pitch_sounds_as_its_table_says(name: str, voice: int) -> None:
    engine = load_engine(name)
    length = engine.step_lengths[-1]
    pitches = list(engine.pitches.values())
    cells = [pitch.midi for pitch in pitches]
    rest = [REST] * len(cells)
    rows = (cells, rest) if voice == 1 else (rest, cells)
    sheet = sheet_of(engine, *rows, length=length.setting)
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
