"""Repeated passages get names."""

from __future__ import annotations

import functools
import operator

import numpy as np

from arranger.engine import load_engine
from arranger.grid import Section, plan_grid
from arranger.grid.model import GridBar
from arranger.grid.sections import alike_bars
from tests.grid.songs import song_of

ENGINE = load_engine("twin-phase")


def passage(seed: int, bars: int = 4):
    """Return quavers whose pitches no other seed shares."""
    return [40 + (seed * 17 + i * i * 3) % 47 for i in range(bars * 8)]


def song(*pitches: list[int]):
    line = [pitch for each in pitches for pitch in each]
    return song_of([(i / 2, 0.5, pitch) for i, pitch in enumerate(line)])


def test_a_verse_and_a_refrain_are_named():
    verse, refrain, bridge = passage(1), passage(2), passage(3, 3)
    grid = plan_grid(song(verse, refrain, bridge, refrain, verse), ENGINE)
    assert grid.sections == (
        Section("A", 0, 4),
        Section("B", 4, 4),
        Section("B", 11, 4),
        Section("A", 15, 4),
    )


def test_a_song_played_twice_is_one_section():
    whole = passage(1, 12)
    assert plan_grid(song(whole, whole), ENGINE).sections == (
        Section("A", 0, 12),
        Section("A", 12, 12),
    )


def test_one_note_of_many_may_differ():
    # A bar of three parts has 24 notes; with one changed, 23 of 25 are shared. Alone, 7 of 9 are.
    verse = passage(1)
    varied = [pitch + (i % 8 == 5) for i, pitch in enumerate(verse)]

    def line(*pitches: list[int]):
        return [
            (i / 2, 0.5, pitch)
            for i, pitch in enumerate(functools.reduce(operator.iadd, pitches, []))
        ]

    alone = song_of(line(verse, passage(2), varied))
    others = [line(passage(n), passage(n + 10), passage(n)) for n in (3, 4)]
    together = song_of(line(verse, passage(2), varied), *others)
    assert plan_grid(alone, ENGINE).sections == ()
    assert plan_grid(together, ENGINE).sections == (Section("A", 0, 4), Section("A", 8, 4))


def test_nothing_repeated_is_no_section():
    assert plan_grid(song(passage(1), passage(2)), ENGINE).sections == ()


def test_the_first_thousand_bars_are_compared():
    bars = tuple(GridBar(n + 1, n, 1, 1, 4) for n in range(1001))
    where = np.arange(1001)
    assert alike_bars(bars, where, 0 * where, 60 + 0 * where).shape == (1000, 1000)
