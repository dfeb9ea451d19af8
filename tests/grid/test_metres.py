"""How bars that are heard or asked for become metres, by plain rules and at both sides of each bound."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random

import numpy as np
import pytest

from arranger.engine import load_engine
from arranger.grid import plan_grid
from arranger.grid.attacks import find_attacks
from arranger.grid.bars import metres
from arranger.grid.bars.asked_bars import after_pickup, likeliest_place, moved_metres
from arranger.grid.bars.disputed import _stated, _within
from arranger.grid.bars.metre_names import named_bars, named_metre
from arranger.grid.track.bars_sure import EvenBars, weigh_bars
from arranger.grid.track.networks.bars_heard import SLOT_LENGTHS, hear_lines, likeliest_bars
from arranger.settings import GridSettings
from arranger.song.model import MetreChange
from arranger.song.time import song_bars, timed_columns
from tests.grid.songs import TICKS, song_of
from tests.grid.test_heard import waltz

ENGINE = load_engine("twin-phase")


@pytest.mark.parametrize(
    ("numerator", "denominator", "bars"),
    [(1, 4, False), (2, 8, False), (5, 16, True), (3, 8, True), (1, 2, True), (4, 4, True)],
)
def test_a_metre_of_one_beat_or_less_is_none(numerator: int, denominator: int, bars: bool) -> None:
    song = song_of([(0, 1, 60)], metres=((0, numerator, denominator),))
    assert metres.has_bars(song) == bars
    assert not metres.has_bars(replace(song, metre_said=False))
    assert metres.has_bars(replace(song, metres=(*song.metres, MetreChange(480, 4, 4))))


def test_lines_become_metres_where_the_length_of_bars_changes() -> None:
    """In slots, of which a beat has four: two bars of six quavers, two of four beats, one of six quavers."""
    lines = np.array([2, 14, 26, 42, 58, 70])
    beats = np.full(70, -3.0)
    beats[2:26:6] = beats[58::6] = 2.0
    beats[26:58:4] = 2.0
    assert metres._metres(lines, beats, 480) == (
        MetreChange(0, 6, 8), MetreChange(240, 6, 8), MetreChange(26 * 120, 4, 4), MetreChange(58 * 120, 6, 8),
    )  # fmt: skip
    assert metres._metres(lines[:3] - 2, beats[2:], 480) == (MetreChange(0, 6, 8),)


def test_heard_bars_are_taken_where_they_are_plainly_likelier_than_four_beats() -> None:
    """By ten in log odds and a tenth of their own, in a piece of 32 attacks."""
    random = Random(2)
    seen = set()
    for _ in range(60):
        odds = np.full((random.choice((96, 960)), 2), -1.0)
        fours = random.uniform(0, 3)
        odds[::12, 1], odds[::16, 1] = fours * random.uniform(0.6, 1.1), fours
        heard = likeliest_bars(odds[:, 1], SLOT_LENGTHS)
        gain = -1.0 if heard is None else heard.score - float(odds[::16, 1].sum())
        usual = heard is None or gain < 10 or gain < 0.1 * heard.score
        found = metres.choose_bars(odds, 32)
        assert found.usual == usual
        assert found.best == (0.0 if heard is None else heard.score)
        if usual or heard is None:
            assert found.lines.tolist() == list(range(0, len(odds) + 16, 16))
        else:
            assert found.lines.tolist() == heard.lines.tolist()
        assert metres.choose_bars(odds, 31).usual
        seen.add((usual, gain > 10))
    assert seen == {(True, True), (True, False), (False, True)}


def test_what_is_doubted_of_heard_bars_is_what_is_weighed_of_them() -> None:
    song = song_of([(n / 2, 0.5, 60 + n % 8) for n in range(90)], metre_said=False)
    notes = timed_columns(song)
    odds = hear_lines(notes, find_attacks(notes), TICKS, 120.0)
    chosen = metres.choose_bars(odds, 90)
    weighed = weigh_bars(odds[:, 1], chosen.lines, SLOT_LENGTHS)
    (doubt,) = plan_grid(song, ENGINE).doubts
    assert doubt.sure == weighed.sure("bars_heard", chosen.best)


def test_even_bars_begin_at_or_after_the_first_note_as_options_say_it() -> None:
    random = Random(4)
    for _ in range(60):
        size, ticks = random.choice((8, 12, 16, 20)), random.choice((480, 96, 10))
        bars = EvenBars(size, random.randrange(size), 0.0)
        first = random.choice((random.randrange(20 * ticks), random.randrange(80) * ticks // 4))
        odds = np.array([[random.gauss(0, 1), 0.0] for _ in range(97)])
        line = next(at for at in range(bars.first, 999, size) if at * ticks >= 4 * first)
        found = named_bars(bars, odds, ticks, first)
        assert found.first_tick == round(line * ticks / 4)
        asked = Fraction(found.first_tick - first, ticks)
        assert found.pickup == asked.limit_denominator(4)
        lines = np.array([at for at in range(bars.first, 97, size) if at + size <= 97])
        assert found.metre == named_metre(size, lines, odds[:, 0])


def test_bars_of_the_files_own_metre_stay_where_the_file_has_them() -> None:
    """Which the music contradicts; another metre begins where it is heard, or where the user says."""
    tune, below = waltz(24, 1)
    song = song_of([(0, 1, 71), *tune], below, metres=((0, 3, 4),))
    own = plan_grid(song, ENGINE, GridSettings(metre=(3, 4)))
    assert own.bar_ticks[:2] == (0, 3 * TICKS)
    for asked in (
        GridSettings(metre=(6, 4)),
        GridSettings(metre=(3, 4), pickup=Fraction(1)),
        GridSettings(pickup=Fraction(1)),
        GridSettings(metre=(3, 4), first_beat=0.45),
    ):
        grid = plan_grid(song, ENGINE, asked)
        assert grid.bar_ticks[1] in {TICKS, 4 * TICKS}
        assert {bar[3:5] for bar in grid.bars} == {asked.metre or (3, 4)}
        assert grid.bars[0].number == 0
    silent = replace(song, metre_said=False)
    grid = plan_grid(silent, ENGINE, GridSettings(pickup=Fraction(1)))
    assert {bar[3:5] for bar in grid.bars} == {(3, 4)}, "as is heard"
    assert grid.bar_ticks[:2] == (0, TICKS)
    short = song_of([(0, 1, 60), (1, 1, 64)], metre_said=False)
    assert {
        bar[3:5] for bar in plan_grid(short, ENGINE, GridSettings(pickup=Fraction(1))).bars
    } == {(4, 4)}


@pytest.mark.parametrize("tick", [0, 1, 479, 1440, 1441, 2879, 2880, 3000, 6240, 9999])
def test_the_files_bars_are_moved_by_less_than_one(tick: int) -> None:
    """Two bars of three quarters, then of four; one begins at the tick."""
    song = song_of([(0, 1, 60)], metres=((0, 3, 4), (6, 4, 4)))
    before = max(bar.start for bar in song_bars(song, tick + 1) if bar.start <= tick)
    moved = moved_metres(song, tick)
    if before == tick:
        assert moved == song.metres
    else:
        later = [metre._replace(tick=metre.tick + tick - before) for metre in song.metres]
        assert moved == (song.metres[0], *later)
    assert tick in {bar.start for bar in song_bars(replace(song, metres=moved), tick + 1)}


def test_another_place_for_bars_must_be_likelier_by_ten() -> None:
    for ahead, place in ((9.99, 0), (10.0, 3)):
        odds = np.zeros(40)
        odds[[0, 4, 3]] = 1.0, 1.0, 2.0 + ahead
        assert likeliest_place(odds, 4, (0, 1, 3)) == place
    assert [after_pickup(at, Fraction(1, 2)) for at in (0.04, 0.05, 1.34)] == pytest.approx(
        [0.5, 7 / 12, 4 / 3 + 0.5]
    )


def test_bars_of_the_file_in_slots_of_a_quarter_beat_reach_to_the_last_of_them() -> None:
    song = song_of([(0, 1, 60)], metres=((0, 3, 4), (6, 4, 4)))
    assert _stated(song, 41).tolist() == [0, 12, 24, 40]
    assert _stated(song, 42).tolist() == [0, 12, 24, 40, 56]


@pytest.mark.parametrize(
    ("lines", "stated", "within"),
    [
        ((4, 12, 20, 28), (4, 20, 36), True),  # twice as long
        ((0, 16, 32), (0, 8, 16, 24, 32), True),  # half as long
        ((4, 20, 36), (0, 12, 20, 36, 40), False),
        ((8, 16), (0, 8, 16, 24), True),
        ((8, 14, 20), (7, 9, 21), False),
        ((8, 16, 24), (0, 8, 24), True),
        ((8, 16, 24), (0, 8, 25), True),  # what lies outside says nothing
        ((8, 16, 24), (7, 9, 24), False),
        ((8, 16, 24), (8, 17, 30), False),
        ((8, 16, 24), (8, 23, 40), False),
    ],
)
def test_the_same_bars_may_be_counted_in_twos_or_halved(
    lines: tuple[int, ...], stated: tuple[int, ...], within: bool
) -> None:
    assert _within(np.array(lines), np.array(stated)) == within
