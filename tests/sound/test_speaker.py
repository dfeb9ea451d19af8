"""Speaker models against scipy's filter design and its sample-by-sample recursion."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from arranger.sound.speaker import SPEAKERS, Biquad, Speaker, coefficients

if TYPE_CHECKING:
    from numpy.typing import NDArray

MODELS = {name: model for name, model in SPEAKERS.items() if model is not None}
RATES = (22_050, 44_100, 192_000)


def analogue(section: Biquad, rate: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return a section by scipy's bilinear transform of the analogue prototype.

    Numerator and denominator in s with the corner at 1 rad/s, from the W3C Audio EQ Cookbook (from
    memory): H(s) = 1 / (s^2 + s/Q + 1), s^2 / (...), (s^2 + s A/Q + 1) / (s^2 + s/(A Q) + 1).
    """
    a = 10 ** (section.gain_db / 40)
    below = [1, 1 / (section.quality * (a if section.kind == "peak" else 1)), 1]
    above = {
        "low-pass": [0, 0, 1],
        "high-pass": [1, 0, 0],
        "peak": [1, a / section.quality, 1],
    }[section.kind]
    # Scale s so that the bilinear transform at fs = 1/2 keeps the corner in place.
    warped = np.tan(np.pi * section.hz / rate)
    powers = warped ** np.arange(3)
    return signal.bilinear(np.array(above) * powers, np.array(below) * powers, fs=0.5)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("name", MODELS)
def test_a_section_is_the_analogue_one(name: str, rate: int) -> None:
    for section in MODELS[name].sections:
        above, below = coefficients(section, rate)
        expected_above, expected_below = analogue(section, rate)
        np.testing.assert_allclose(np.array(above) / below[0], expected_above, atol=1e-12)
        np.testing.assert_allclose(np.array(below) / below[0], expected_below, atol=1e-12)


@given(
    st.sampled_from(sorted(MODELS)),
    st.lists(st.integers(1, 3000), min_size=1, max_size=6),
    st.booleans(),
    st.integers(0, 2**32 - 1),
)
def test_blocks_of_any_size_equal_the_recursion(
    name: str, sizes: list[int], split: bool, seed: int
) -> None:
    model = MODELS[name]
    rate = 44_100
    shape = (sum(sizes), 2) if split else (sum(sizes),)
    sound = np.sign(np.random.default_rng(seed).standard_normal(shape)).astype(np.float32)
    blocks = np.split(sound, np.cumsum(sizes)[:-1])
    found = np.concatenate(list(model.play(blocks, rate)))
    sections = [np.concatenate(coefficients(section, rate)) for section in model.sections]
    expected = signal.sosfilt(np.array([row / row[3] for row in sections]), sound, axis=0)
    impulse = signal.sosfilt(
        np.array([row / row[3] for row in sections]), np.r_[1.0, np.zeros(4095)]
    )
    # Half the swing to either side, and overshoots of 1.14. float32 holds 24 bits; the peak is < 2.
    scale = 2 / 1.14 / np.abs(impulse).sum()
    np.testing.assert_allclose(found, expected * scale, atol=2**-22)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("name", MODELS)
def test_the_worst_pin_swings_no_further_than_its_own_swing(name: str, rate: int) -> None:
    response = MODELS[name].response(rate)
    # A pin that swings by 1, from 0 to 1 after a long rest, with 1.14 of overshoot.
    worst = np.sign(response[::-1]) / 2 * 1.14 + 0.5
    rest = np.full(rate, 0.5)
    heard = np.concatenate(list(MODELS[name].play([np.r_[rest, worst].astype(np.float32)], rate)))
    assert np.abs(heard[rate // 2 :]).max() == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize(
    ("name", "quiet_hz", "loud_hz"),
    [("small", 60, 1000), ("piezo", 200, 3200), ("small", 15000, 1000)],
)
def test_models_sound_as_described(name: str, quiet_hz: float, loud_hz: float) -> None:
    response = MODELS[name].response(44_100)
    _, gains = signal.freqz(response, worN=[quiet_hz, loud_hz], fs=44_100)
    assert 20 * np.log10(abs(gains[0]) / abs(gains[1])) < -15


def test_a_model_without_sections_only_scales() -> None:
    sound = np.linspace(-1, 1, 100, dtype=np.float32)
    found = np.concatenate(list(Speaker(()).play([sound], 44_100)))
    np.testing.assert_allclose(found, sound * 2 / 1.14, atol=2**-22)
