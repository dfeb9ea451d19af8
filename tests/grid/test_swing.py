"""Swing: recognised, played on a triplet step, or made even."""

from __future__ import annotations

from fractions import Fraction

import pytest

from arranger.engine import load_engine
from arranger.grid import plan_grid
from arranger.settings import GridSettings
from tests.grid.songs import song_of

ENGINE = load_engine("twin-phase")


def swung(place: float, beats: int = 32):
    return [
        (beat + part, length, 60 + (2 * beat + index) % 7)
        for beat in range(beats)
        for index, (part, length) in enumerate([(0, place), (place, 1 - place)])
    ]


@pytest.mark.parametrize("place", [0.6, 2 / 3, 0.7])
def test_swing_is_played_on_a_triplet_step(place):
    grid = plan_grid(song_of(swung(place)), ENGINE)
    assert grid.step_beats == Fraction(1, 3)
    expected = [3 * beat + off for beat in range(32) for off in (0, 2)]
    assert grid.onset_steps.tolist() == expected
    assert any("swing: 32 off-beat quavers" in remark for remark in grid.remarks)


@pytest.mark.parametrize("place", [0.6, 2 / 3, 0.7])
def test_swing_is_made_even_if_asked(place):
    grid = plan_grid(song_of(swung(place)), ENGINE, GridSettings(swing="straighten"))
    assert grid.step_beats == Fraction(1, 2)
    assert grid.onset_steps.tolist() == list(range(64))
    # Where the notes really stand stays on record: late by so much of a step.
    assert grid.positions[1::2] - grid.onset_steps[1::2] == pytest.approx(
        (place - 0.5) * 2, abs=0.01
    )


def test_straight_quavers_and_triplets_are_no_swing():
    straight = [(i / 2, 0.5, 60 + i % 7) for i in range(64)]
    triplets = [(Fraction(i, 3), Fraction(1, 3), 60 + i % 7) for i in range(96)]
    for line in (straight, triplets):
        assert not any("swing" in remark for remark in plan_grid(song_of(line), ENGINE).remarks)
