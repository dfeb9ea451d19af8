"""The least price at which a song fits, sought where sizes come in leaps."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from arranger.errors import LimitError
from arranger.reduce.choose.costs import Costs
from arranger.reduce.choose.rates import UNITS, rates_of
from arranger.reduce.perform.byte_limit import Fitted, cheapest, with_dear_changes
from tests.reduce.test_optimum import NOTHING, problem_of

ANY: Any = None


def sought(leaps: dict[float, int], limit: int) -> tuple[Fitted, list[float]]:
    """Return what is found, and the prices tried; ``leaps`` has the size from each price on."""
    tried = []

    def at(price: float) -> Fitted:
        tried.append(price)
        size = next(size for start, size in reversed(leaps.items()) if price >= start)
        return Fitted(ANY, size, price, size)

    return cheapest(at, leaps[0.0], limit), tried


def test_the_price_is_doubled_from_a_fiftieth_of_a_beat_then_halved_between() -> None:
    found, tried = sought({0.0: 100, 0.05: 60}, 70)
    assert tried[:5] == pytest.approx([0.02, 0.04, 0.08, 0.06, 0.05])
    assert len(tried) == 3 + 10
    assert 0.05 <= found.price < 0.05 + 0.04 / 2**9
    assert (found.bytes, found.next_bytes) == (60, 100)
    found, tried = sought({0.0: 200, 0.01: 150, 0.03: 120, 0.07: 90}, 100)
    assert tried[:5] == pytest.approx([0.02, 0.04, 0.08, 0.06, 0.07])
    assert (found.bytes, found.next_bytes) == (90, 120)
    found, tried = sought({0.0: 200, 0.011: 150, 0.013: 90}, 100)
    assert tried[:4] == pytest.approx([0.02, 0.01, 0.015, 0.0125])
    assert (found.bytes, found.next_bytes) == (90, 150)


def test_what_takes_98_percent_of_the_limit_is_near_enough() -> None:
    assert sought({0.0: 200, 0.01: 98}, 100)[1] == [0.02]
    assert len(sought({0.0: 200, 0.01: 97}, 100)[1]) == 11
    assert sought({0.0: 200, 0.01: 100}, 100)[0] == Fitted(ANY, 100, 0.02, 200)


def test_eleven_doublings_are_all() -> None:
    leaps = {0.0: 200, 0.02 * 2**11: 98}
    found, tried = sought(leaps, 100)
    assert (found.price, len(tried)) == (0.02 * 2**11, 12)
    with pytest.raises(LimitError, match="takes 98 bytes even when it is simplified, more than 97"):
        sought(leaps, 97)
    with pytest.raises(LimitError, match="takes 200 bytes"):
        sought({0.0: 200, 41.0: 98}, 100)


def test_where_changes_are_dear_a_missed_turn_costs_a_quarter() -> None:
    given = rates_of(problem_of(NOTHING), Costs(), 0.1)._replace(turn=np.array([7, 8]))
    dear = with_dear_changes(given, 0.5)
    assert dear.turn is not None
    assert (dear.turn.tolist(), dear.change) == ([1, 2], UNITS // 2)
    assert with_dear_changes(given, 0.0) is given
