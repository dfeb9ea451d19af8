"""The best beat: no other gains more, and what is compiled finds what numpy finds."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.grid.track import _follow, follow
from arranger.grid.track.follow import PERIODS, follow_beats


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 160), st.integers(1, 30), st.integers(0, 2**32))
def test_both_follow_the_same_beat(count: int, many: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    odds = random.normal(-1.0, 3.0, count)
    begin = int(random.integers(0, len(PERIODS) - many + 1))
    periods = PERIODS[begin : begin + many]
    with pytest.MonkeyPatch.context() as patch:
        one = follow_beats(odds, periods)
        patch.setattr(follow, "_compiled", None)
        two = follow_beats(odds, periods)
    assert one.frames.tolist() == two.frames.tolist()
    assert one.gained == two.gained


UNIT = 1 / 64
COVERED = 6 / 64


def test_periods_go_by_like_shares_from_231_beats_a_minute_to_33() -> None:
    """In frames of a fiftieth of a second."""
    assert PERIODS.tolist() == sorted({round(13 * 1.0355**n) for n in range(57)})
    assert PERIODS[[0, -1]].tolist() == [13, 92]


@pytest.mark.parametrize("seed", range(4))
def test_no_other_beat_gains_more(seed: int) -> None:
    """From beat to beat a period goes up or down by eight places at most."""
    odds = np.random.default_rng(seed).normal(-1.0, 2.0 + 8 * (seed % 2), 60)
    periods = PERIODS[:13].tolist()

    def unit(value: float) -> float:
        return round(value / UNIT) * UNIT

    def begun(period: int) -> float:
        return unit(-0.5 * (np.log(period / 30) / 0.6) ** 2)

    def price(one: int, other: int) -> float:
        """Return what a beat pays to go on with the second period, less what that covers."""
        if abs(periods.index(one) - periods.index(other)) > 8:
            return np.inf
        return unit(20 * abs(np.log(one / other)) ** 1.5 - COVERED * other)

    @cache
    def best(frame: int, period: int) -> float:
        """Return the most that a beat gains that is at a frame and came by a period."""
        before = frame - period
        ways = [begun(period)]
        if before >= 0:
            ways += [best(before, p) - price(p, period) for p in periods]
        return max(ways) + unit(odds[frame])

    most = max(best(frame, period) for frame in range(60) for period in periods)
    found = follow_beats(odds, np.array(periods))
    steps = np.diff(found.frames).tolist()
    assert found.gained == most - COVERED * sum(steps)
    assert set(steps) <= set(periods)

    def worth(first: int) -> float:
        changes = sum(price(a, b) for a, b in pairwise([first, *steps]))
        return begun(first) + sum(unit(value) for value in odds[found.frames]) - changes

    assert max(map(worth, periods)) == most


def test_a_period_changes_by_eight_places_at_most() -> None:
    """From 18 frames to 26 and back, but not to 27 nor back from there."""
    for way, taken in (((18, 26), True), ((18, 27), False), ((26, 18), True), ((27, 18), False)):
        frames = np.cumsum([0, *way])
        odds = np.full(int(frames[-1]) + 1, -5.0)
        odds[frames] = 400.0
        found = follow_beats(odds, PERIODS[:20]).frames.tolist()
        assert (found == frames.tolist()) == taken


def test_a_beat_goes_on_where_little_is_heard() -> None:
    """Sixteen frames more are worth one and a half in log odds."""
    for heard, beats in ((-1.4, 2), (-1.6, 1)):
        odds = np.full(17, -50.0)
        odds[[0, 16]] = 5.0, heard
        assert len(follow_beats(odds, np.array([16])).frames) == beats


def test_arrays_that_do_not_fit_each_other_are_refused() -> None:
    def followed(
        price: int = 4, begin: int = 2, onward: int = 16, came: int = 10, last: int = 3
    ) -> None:
        _follow.followed(
            np.zeros(5, np.int32), np.array([2, last]), np.zeros(price, np.int32), np.zeros(begin, np.int32),
            np.empty(onward, np.int32), np.empty(came, np.int8), np.empty(10, np.int8), np.zeros(3, np.int64), 8,
        )  # fmt: skip

    followed()
    for wrong in (
        {"price": 3},
        {"begin": 1},
        {"onward": 15},
        {"came": 9},
        {"last": 1},
        {"last": 0},
    ):
        with pytest.raises(ValueError, match="don't fit"):
            followed(**wrong)
