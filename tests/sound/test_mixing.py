"""What is compiled of the mixing comes to the bits that numpy comes to."""

from __future__ import annotations

import numpy as np
import pytest

from arranger.sound import _mixing, mixing
from arranger.sound.mixing import add_kernels, integrate


@pytest.mark.parametrize("channels", [1, 2])
def test_sound_is_the_same_to_the_bit_without_it(
    channels: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    random = np.random.default_rng(channels)
    table = random.normal(size=(20, 7))
    firsts, rows = random.integers(0, 994, 3_000), random.integers(0, 20, 3_000)
    gains = random.choice((-0.3, 0.3), 3_000)
    fading = np.power(0.99, np.arange(1.0, 101))
    found = []
    for compiled in (_mixing, None):
        monkeypatch.setattr(mixing, "_compiled", compiled)
        sums, heights = np.zeros((channels, 1_000)), np.full(channels, 0.1)
        for channel in sums:
            add_kernels(channel, firsts, rows, gains, table)
        heard = integrate(sums[:, :950], 1 / fading, fading, heights, 1.5)
        assert heard.shape == (950, channels)
        assert heard.max() == 1.5
        found.append((sums.tobytes(), heights.tobytes(), heard.tobytes()))
    assert found[0] == found[1]


def test_arrays_that_do_not_fit_are_refused() -> None:
    sums, table, gains = np.zeros(9), np.ones((2, 3)), np.ones(1)
    fits = (np.array([6]), np.array([1]))
    _mixing.add(sums, *fits, gains, table, 3)
    assert sums.tolist() == [0] * 6 + [1] * 3
    for wrong in (([7], [1]), ([-1], [1]), ([6], [2]), ([6], [-1]), ([6, 6], [1])):
        with pytest.raises(ValueError, match="don't fit"):
            _mixing.add(sums, *map(np.array, wrong), gains, table, 3)
    row, heard = np.ones(4), np.zeros((9, 2), dtype=np.float32)
    for channel, channels in ((2, 2), (-1, 2), (0, 1)):
        with pytest.raises(ValueError, match="don't fit"):
            _mixing.integrate(sums, row, row, np.zeros(2), heard, channel, channels, 1.0)
