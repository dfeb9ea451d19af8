"""What speaks for bars, reckoned once more by hand."""

from __future__ import annotations

import math
from itertools import pairwise
from random import Random

import numpy as np
import pytest

from arranger.grid.track.bars_sure import BAR_FEATURES, weigh_bars
from arranger.grid.track.feature_weights import weights_of

LENGTHS = ((2, 0.5), (3, 0.0), (4, 0.2))
KINDS = ("bars_heard", "bars_stated", "bars_tracked", "bars_placed")


@pytest.mark.parametrize("seed", range(12))
def test_features_are_what_they_say(seed: int) -> None:
    random = Random(seed)
    odds = [random.gauss(-1, 4) for _ in range(random.randrange(14, 30))]
    lines = [random.randrange(3)]
    while lines[-1] < len(odds):
        lines.append(lines[-1] + random.choice((3, 3, 3, 3, 4, 5)))
    best, beat = random.uniform(-5, 30), random.choice((0.0, 0.3, 0.9, 1.0))
    costs = dict(LENGTHS)

    def gained(at: list[int], paid: float) -> float:
        return sum(odds[place] for place in at if place < len(odds)) - paid

    sizes = [after - line for line, after in pairwise(lines)]
    own = gained(lines, sum(costs.get(size, 1.0) for size in sizes))
    size = max(sorted(set(sizes)), key=sizes.count)
    bars = len(sizes)

    def even(size: int, first: int) -> float:
        at = list(range(first, len(odds), size))
        return gained(at, costs.get(size, 1.0) * len(at))

    places = [line % size for line in lines]
    most = max(sorted(set(places)), key=places.count)
    moved = max(even(size, first) for first in range(size) if first != most)
    counted = max(even(other, first) for other in costs if other != size for first in range(other))

    def within(value: float, most: float) -> float:
        return min(max(value, -most), most)

    known = within(math.log(max(beat, 1e-9) / max(1 - beat, 1e-9)), 6.0)
    gains = [(own - other) / bars for other in (0.0, moved, counted, max(best, own))]
    expected = [1, *(within(gain, 6.0) for gain in gains), math.log(bars), sizes.count(size) / bars]
    twos = [
        even(other, first)
        for other in costs
        if other in (2 * size, size / 2)
        for first in range(other)
        if (first - most) % min(other, size) == 0
    ]
    weighed = weigh_bars(np.array(odds), np.array(lines), LENGTHS)
    assert weighed.in_twos.score == pytest.approx(max(twos, default=counted))
    features = weighed.features(best, beat)
    assert features.tolist() == pytest.approx([*expected, known], abs=1e-6)
    assert (weighed.size, weighed.moved.size) == (size, size)
    for kind in KINDS:
        at = float(features @ weights_of(kind, BAR_FEATURES))
        assert weighed.sure(kind, best, beat) == pytest.approx(1 / (1 + math.exp(-at)))


def test_what_is_heard_of_bars_makes_them_surer() -> None:
    odds = np.full(64, -1.0)
    lines = np.arange(1, 69, 4)
    for kind in KINDS:
        sure = []
        for heard in (-0.5, 0.5, 2.0, 4.0):
            odds[lines[:-1]] = heard
            weighed = weigh_bars(odds, lines, LENGTHS)
            sure.append(weighed.sure(kind, weighed.score, 0.9))
        assert sure == sorted(sure)
        assert sure[0] < sure[-1]
        assert sure[-1] > 0.8
