"""Bars and seconds of a song, by fractions."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import product
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.conversion.keys import keys_by_bar
from arranger.engine import load_engine
from arranger.grid import plan_grid
from arranger.settings import GridSettings
from arranger.song.model import KeyChange, MetreChange, TempoChange
from arranger.song.time import seconds_at, song_bars, ticks_at
from tests.grid.songs import song_of

if TYPE_CHECKING:
    from arranger.song import Song

ENGINE = load_engine("twin-phase")


def bars_by_fractions(song: Song, end: int) -> list[tuple[int, int, int, int, int]]:
    """Return bars up to a tick: each line is the nearest tick, the later of two; none is empty."""
    found: list[tuple[int, int, int, int, int]] = []
    for index, metre in enumerate(song.metres):
        size = Fraction(4 * metre.numerator * song.ticks_per_beat, metre.denominator)
        after = [later.tick for later in song.metres[index + 1 :]]
        start, count = metre.tick, 0
        while start < min([max(end, 1), *after]):
            count += 1
            line = metre.tick + max(int(count * size + Fraction(1, 2)), count)
            line = min([line, *after])
            found.append((len(found) + 1, start, line, metre.numerator, metre.denominator))
            start = line
    return found


def test_bars_are_those_of_the_metres_to_the_nearest_tick() -> None:
    random = Random(8)
    for _ in range(150):
        ticks = random.choice((1, 3, 5, 24, 480))
        starts = sorted({0, *(random.randrange(20 * ticks) for _ in range(random.randrange(4)))})
        metres = tuple(
            MetreChange(at, random.randrange(1, 8), random.choice((1, 2, 4, 8, 16, 32, 64)))
            for at in starts
        )
        song = replace(song_of([(0, 1, 60)], ticks_per_beat=ticks), metres=metres)
        for end in (0, 1, random.randrange(25 * ticks)):
            assert [tuple(bar) for bar in song_bars(song, end)] == bars_by_fractions(song, end)
    assert song_bars(song) == song_bars(song, song.end_tick)


def test_times_are_the_sum_of_what_each_tick_before_lasts() -> None:
    random = Random(9)
    for _ in range(40):
        ticks = random.choice((24, 96))
        starts = sorted({0, *(random.randrange(200) for _ in range(3))})
        tempos = tuple(
            TempoChange(at, random.choice((300_000, 500_000, 1_000_000))) for at in starts
        )
        song = replace(song_of([(0, 1, 60)], ticks_per_beat=ticks), tempos=tempos)
        lasts = [
            max((t for t in tempos if t.tick <= at), key=lambda t: t.tick).microseconds_per_beat
            / ticks
            / 1e6
            for at in range(250)
        ]
        asked = [0, 1, 77, 200, 249]
        assert seconds_at(song, asked) == pytest.approx([sum(lasts[:at]) for at in asked])
        assert seconds_at(song, -2) == pytest.approx(-2 * lasts[0])
        near = seconds_at(song, asked) + 0.1 * lasts[0]
        assert ticks_at(song, near).tolist() == asked


def test_a_bar_has_the_key_that_holds_in_its_middle() -> None:
    """By whole bars of four beats; a key that comes in the second half is the next bar's."""
    line = [(n, 1, 60) for n in range(20)]
    changes = (
        KeyChange(0, 1, False),
        KeyChange(480 * 6, -2, True),
        KeyChange(480 * 10 + 1, 5, False),
    )
    song = song_of(line, keys=changes)
    grid = plan_grid(song, ENGINE, GridSettings(step=Fraction(1), beat="file"))
    assert keys_by_bar(song, grid, 0) == (
        (1, False),
        (-2, True),
        (-2, True),
        (5, False),
        (5, False),
    )
    late = replace(song, keys=(KeyChange(480 * 7, 3, False),))
    assert keys_by_bar(late, grid, 0) == ((3, False),) * 5, "the first holds from the beginning"
    for named, given in (
        ((KeyChange(0, 0, False),), False),
        ((), False),
        ((KeyChange(0, 0, True),), True),
    ):
        assert bool(keys_by_bar(replace(song, keys=named), grid, 0)) == given


def test_a_transposed_key_has_from_five_flats_to_six_sharps() -> None:
    """Each fifth up is a sharp more, and seven semitones; only a song that stays keeps other signatures."""
    song = song_of([(n, 1, 60) for n in range(4)])
    grid = plan_grid(song, ENGINE, GridSettings(step=Fraction(1), beat="file"))
    for semitones, sharps in product(range(-13, 14), range(-7, 8)):
        named = replace(song, keys=(KeyChange(0, sharps, True),))
        ((found, minor),) = keys_by_bar(named, grid, semitones)
        assert minor
        assert (7 * found - 7 * sharps - semitones) % 12 == 0, "the tonic has moved as far"
        assert -5 <= found <= 6 if semitones % 12 else found == sharps


def test_bars_without_known_ticks_have_no_key() -> None:
    song = song_of([(n, 1, 60) for n in range(4)], keys=(KeyChange(0, 2, False),))
    grid = plan_grid(song, ENGINE, GridSettings(step=Fraction(1), beat="file"))
    assert keys_by_bar(song, replace(grid, bar_ticks=()), 0) == ()
    longer = replace(grid, bars=(*grid.bars, grid.bars[-1]))
    assert keys_by_bar(song, longer, 0) == ((2, False),) * 2
    assert np.diff(grid.bar_ticks).tolist() == [4 * 480]
