"""Bars as the user says: metre, pickup, first downbeat; on the file's beat and on a tracked one."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.errors import LimitError, SettingsError
from arranger.grid import plan_grid
from arranger.settings import GridSettings
from tests.benchmarks.human import play
from tests.grid.songs import TICKS, song_of
from tests.grid.test_heard import waltz

ENGINE = load_engine("twin-phase")
LINE = [(1.5 + n / 2, 0.5, 60 + n % 7) for n in range(60)]


@settings(max_examples=40, deadline=None)
@given(
    metre=st.tuples(st.integers(1, 13), st.sampled_from([2, 4, 8, 16])),
    pickup=st.none() | st.fractions(0, 8, max_denominator=4),
    said=st.booleans(),
)
def test_bars_are_as_asked(metre: tuple[int, int], pickup: Fraction | None, said: bool) -> None:
    song = song_of(LINE, metres=((0, 4, 4), (8, 3, 4)), metre_said=said)
    asked = GridSettings(metre=metre, pickup=pickup, beat="file")
    grid = plan_grid(song, ENGINE, asked)
    assert {(bar.numerator, bar.denominator) for bar in grid.bars} == {metre}
    size = 4 * TICKS * metre[0] // metre[1]
    # the last bar may end with the file's steps
    assert {b - a for a, b in pairwise(grid.bar_ticks[1:-1])} <= {size}
    if pickup is not None:
        assert (grid.bar_ticks[1] - (Fraction(3, 2) + pickup) * TICKS) % size == 0


def test_a_pickup_moves_the_files_own_bars_with_their_changes() -> None:
    song = song_of(LINE, metres=((0, 4, 4), (8, 3, 4)))
    grid = plan_grid(song, ENGINE, GridSettings(pickup=Fraction(3, 2)))
    assert [(bar.number, bar.numerator) for bar in grid.bars[:4]] == [
        (0, 4), (1, 4), (2, 4), (3, 3),
    ]  # fmt: skip
    assert [tick / TICKS for tick in grid.bar_ticks[:5]] == [0, 3, 7, 11, 14]
    in_place = plan_grid(song, ENGINE, GridSettings(pickup=Fraction(5, 2)))
    assert in_place.bar_ticks == plan_grid(song, ENGINE).bar_ticks


def test_a_downbeat_in_seconds_counts_on_the_files_own_beat() -> None:
    song = song_of(LINE, bpm=100.0)
    for seconds in (1.8, 1.87, 1.8 + 2.4):  # beat 3, about there, a bar later
        grid = plan_grid(song, ENGINE, GridSettings(first_beat=seconds))
        assert [tick / TICKS for tick in grid.bar_ticks[:3]] == [0, 3, 7]
        assert [bar.number for bar in grid.bars[:2]] == [0, 1]


@pytest.mark.parametrize("late", [0, 1, 2])
def test_where_bars_of_the_metre_begin_is_heard(late: int) -> None:
    """A waltz in a file that says 4/4."""
    first = [(0, 1, 71), (1, 1, 74)][:late]
    tune, below = waltz(24, late)
    grid = plan_grid(song_of(first + tune, below), ENGINE, GridSettings(metre=(3, 4)))
    assert grid.bar_ticks[1] == (late or 3) * TICKS
    assert {(bar.numerator, bar.denominator) for bar in grid.bars} == {(3, 4)}


def test_a_tracked_beat_has_the_bars_that_are_asked_for() -> None:
    tune, below = waltz(20, 1)
    played = play([[(0, 1, 71), *tune], below], 7, bpm=92)
    for metre, beats in (((3, 4), 3), ((6, 8), 3), ((2, 4), 2), ((5, 4), 5)):
        asked = GridSettings(beat="track", metre=metre, tempo=92.0, pickup=Fraction(1))
        grid = plan_grid(played.song, ENGINE, asked)
        per_beat = int(1 / grid.step_beats)
        assert {(bar.numerator, bar.denominator) for bar in grid.bars} == {metre}
        assert grid.bars[0].steps == per_beat
        assert {bar.steps for bar in grid.bars[1:-1]} == {beats * per_beat}
    heard = plan_grid(played.song, ENGINE, GridSettings(beat="track", metre=(3, 4), tempo=92.0))
    assert heard.bars[0].steps == int(1 / heard.step_beats)


def test_the_place_is_said_once_and_bars_are_not_endless() -> None:
    song = song_of(LINE)
    with pytest.raises(SettingsError, match="--pickup and --first-beat"):
        plan_grid(song, ENGINE, GridSettings(pickup=Fraction(1), first_beat=1.0))
    with pytest.raises(LimitError):
        plan_grid(song, ENGINE, GridSettings(metre=(1, 64), max_steps=200))
