"""Samples against a brute-force reference: exact edges, averaged very finely, filtered, decimated."""

from __future__ import annotations

from dataclasses import replace
from math import exp, pi
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.engine import builtin_engines, load_engine
from arranger.rows import HOLD, REST
from arranger.sound import signal
from arranger.sound.audio import raw_samples
from arranger.sound.schedule import total_cycles
from arranger.sound.signal import edges
from tests.sound.sheets import sheet_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet

    Sound = NDArray[np.float64]

FINE_HZ = 8e6
PEAK = 10 ** (-12 / 20)


def audible(rate: int) -> float:
    return min(20_000.0, 0.45 * rate)


def heard(sheet: Sheet, engine: Engine, rate: int, **options: bool) -> Sound:
    return np.concatenate(list(raw_samples(sheet, engine, rate, **options))).astype(np.float64)


def reference(sheet: Sheet, engine: Engine, rate: int) -> Sound:
    """Return the pin's level, 0 or 1, below half the sample rate, through a 10 Hz high-pass."""
    cycles = np.concatenate([block for block, _ in edges(sheet, engine)])
    signs = np.concatenate([2 * levels.astype(int) - 1 for _, levels in edges(sheet, engine)])
    finer = int(np.ceil(FINE_HZ / rate))
    frames = total_cycles(sheet, engine) * rate // engine.clock_hz
    # Each fine sample is the mean level of the interval that ends at its time.
    area = np.zeros((frames + 1) * finer)
    position = cycles * (rate * finer / engine.clock_hz)
    index = position.astype(int)
    inside = index + 2 < len(area)
    share = index[inside] + 1 - position[inside]
    np.add.at(area, index[inside] + 1, signs[inside] * share)
    np.add.at(area, index[inside] + 2, signs[inside] * (1 - share))
    level = np.cumsum(area)
    # A long Kaiser window of beta 10 attenuates by some 100 dB (Kaiser 1974, from memory).
    half = int(0.004 * rate * finer)
    taps = np.arange(-half, half + 1)
    cut = rate / 2 / (rate * finer)
    low_pass = 2 * cut * np.sinc(2 * cut * taps) * np.kaiser(len(taps), 10)
    low_pass /= low_pass.sum()
    size = 1 << (len(level) + len(taps)).bit_length()
    smooth = np.fft.irfft(np.fft.rfft(level, size) * np.fft.rfft(low_pass, size), size)
    # The interval's mean belongs to its middle: half a fine sample earlier.
    fine = smooth[half : half + len(level)]
    decimated = ((fine[:-1] + fine[1:]) / 2)[::finer][:frames]
    keep = exp(-2 * pi * 10 / rate)
    found = np.empty(frames)
    before = high = 0.0
    for place, value in enumerate(decimated):
        high = keep * high + value - before
        before = value
        found[place] = high
    return found


def worst_error_db(found: Sound, expected: Sound, rate: int) -> float:
    """Return the largest spectral line of the error in the audible band, relative to the largest tone.

    The gain, which is a matter of taste, is fitted. The ends are faded out: the reference has no
    neighbours there.
    """
    window = np.kaiser(len(found), 12)
    band = np.fft.rfftfreq(len(found), 1 / rate)
    within = (band > 100) & (band <= audible(rate))
    played = np.fft.rfft(found * window)[within]
    tones = np.fft.rfft(expected * window)[within]
    gain = np.vdot(played, tones).real / np.vdot(played, played).real
    return float(20 * np.log10(np.abs(gain * played - tones).max() / np.abs(tones).max()))


PIECE = {
    "voice1": [69, HOLD, 76, REST],
    "voice2": [45, 48, HOLD, HOLD],
    "drums": [None, None, None, "kick"],
}


@pytest.mark.parametrize("name", builtin_engines())
@pytest.mark.parametrize("rate", [22_050, 44_100, 48_000, 96_000, 192_000])
def test_samples_are_the_reference_s_in_the_audible_band(name: str, rate: int) -> None:
    engine = load_engine(name)
    sheet = sheet_of(engine, **PIECE)
    expected = reference(sheet, engine, rate)
    found = heard(sheet, engine, rate)
    assert found.shape == expected.shape
    # Asked for are 70 dB; measured are 90 and more.
    assert worst_error_db(found, expected, rate) < -85


@pytest.mark.parametrize("name", builtin_engines())
@pytest.mark.parametrize("share", [0.0, 0.5, 0.8, 1.0])
def test_single_tones_have_no_aliases(name: str, share: float) -> None:
    """The highest pitches have the fewest passes a period: their images lie in the audible band."""
    engine = load_engine(name)
    pitches = list(engine.pitches)
    pitch = pitches[round(share * (len(pitches) - 1))]
    sheet = sheet_of(engine, [pitch, HOLD, HOLD])
    expected = reference(sheet, engine, 44_100)
    found = heard(sheet, engine, 44_100)
    # Asked for are 70 dB; measured are 79 (C7) to 103: kernels are placed to 1/2048 of a sample.
    assert worst_error_db(found, expected, 44_100) < -75


def test_the_largest_jump_peaks_at_twelve_decibels_below_full_scale() -> None:
    engine = load_engine("twin-phase")
    sheet = sheet_of(engine, [REST, REST], drums=["tom-low", None])
    found = heard(sheet, engine, 44_100)
    # The overshoot of a tenth may fall between two samples.
    assert PEAK / 1.1 < np.abs(found).max() <= PEAK * (1 + 1e-6)


@pytest.mark.parametrize("name", builtin_engines())
def test_left_and_right_together_are_mono(name: str) -> None:
    engine = load_engine(name)
    sheet = sheet_of(engine, **PIECE)
    both = heard(sheet, engine, 44_100, split=True)
    mono = heard(sheet, engine, 44_100)
    assert both.shape == (len(mono), 2)
    if name != "pc-alternate":  # there the listeners have the drums in full
        np.testing.assert_allclose(both.sum(axis=1), mono, atol=2e-6)


def test_a_voice_is_on_its_side_alone() -> None:
    engine = load_engine("twin-phase")
    both = heard(sheet_of(engine, [69, HOLD, HOLD]), engine, 44_100, split=True)
    assert np.abs(both[:, 0]).max() > 0.05
    assert not both[:, 1].any()


@pytest.mark.parametrize("name", builtin_engines())
def test_length_and_bytes_are_always_the_same(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    engine = load_engine(name)
    sheet = sheet_of(engine, **PIECE)
    once = heard(sheet, engine, 44_100)
    assert len(once) == total_cycles(sheet, engine) * 44_100 // engine.clock_hz
    assert (heard(sheet, engine, 44_100) == once).all()
    monkeypatch.setattr(signal, "_STRETCHES_A_BLOCK", 2)
    np.testing.assert_allclose(heard(sheet, engine, 44_100), once, atol=1e-7)


def test_silence_is_silent_whatever_level_the_pin_rests_at() -> None:
    engine = load_engine("twin-phase")
    sheet = sheet_of(engine, [69, *[REST] * 12], [50, *[REST] * 12])
    found = heard(sheet, engine, 44_100)
    # 12 steps of 36 ms: the high-pass has fallen by exp(-2 pi 10 * 0.4).
    assert np.abs(found[-4000:-400]).max() < 1e-6


def test_a_loop_is_heard_once() -> None:
    engine = load_engine("twin-phase")
    sheet = sheet_of(engine, **PIECE)
    once = heard(sheet, engine, 44_100)
    assert len(heard(replace(sheet, loop_step=1), engine, 44_100)) == len(once)
