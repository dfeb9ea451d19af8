"""What is compiled follows a beat as numpy does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.grid.track import _follow, follow
from arranger.grid.track.follow import BANDS, Start, follow_beats

STARTS = (Start(0.5, 20.0, 0.1), Start(0.45, 60.0, 0.5), Start(0.7, 5.0, 0.0))


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 90), st.sampled_from((0.02, 0.1, 0.24)), st.integers(0, 2**32))
def test_both_follow_the_same_beat(count: int, jitter: float, seed: int) -> None:
    random = np.random.default_rng(seed)
    seconds = np.sort(0.25 * np.arange(count) + random.uniform(0, jitter, count))
    strength = random.uniform(0, 2, count)
    with pytest.MonkeyPatch.context() as patch:
        one = follow_beats(seconds, strength, STARTS)
        patch.setattr(follow, "_compiled", None)
        two = follow_beats(seconds, strength, STARTS)
    for a, b in zip(one, two, strict=True):
        assert a.attacks.tolist() == b.attacks.tolist()
        assert a.beats.tolist() == b.beats.tolist()
        assert a.score == b.score


def test_arrays_that_do_not_fit_each_other_are_refused() -> None:
    def followed(attacks: int = 2, earliest: tuple[int, ...] = (0, 0), bands: int = BANDS) -> None:
        out = (np.empty((1, 2, bands)), np.empty((1, 2, bands), int), np.empty((1, 2, bands)))
        _follow.followed(
            np.arange(2.0),
            np.ones(attacks),
            np.array(earliest),
            np.ones((1, 3)),
            *out,
            0.5,
            0.9,
            0.6,
        )

    followed()
    for wrong in ({"attacks": 3}, {"earliest": (0, -1)}, {"earliest": (0,)}, {"bands": 8}):
        with pytest.raises(ValueError, match="don't fit"):
            followed(**wrong)  # type: ignore[arg-type]
