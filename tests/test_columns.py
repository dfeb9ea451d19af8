"""Columns: orders and different values are those that numpy finds."""

from __future__ import annotations

import numpy as np
import pytest

from arranger.columns import order_of


@pytest.mark.parametrize("widest", [1, 1 << 16, (1 << 16) + 1, 1 << 40])
def test_orders_are_those_of_lexsort(widest: int) -> None:
    random = np.random.default_rng(widest)
    small = random.integers(-3, 3, 200)
    large = random.choice(random.integers(-widest, 0, 20), 200)
    large[:2] = 5 - widest, 4  # so far apart that one number more doesn't go into 16 bits
    shares = random.integers(0, 4, 200) / 4
    for keys in ((small,), (large,), (shares, small), (small, large), (large, shares, small)):
        assert order_of(*keys).tolist() == np.lexsort(keys).tolist()
    assert order_of(small[:0], shares[:0]).tolist() == []
