"""Changes of tempo that are told, and those that aren't heard."""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.grid.tempi import bar_tempos, part_places, tempi_in_words, tempo_changes


@given(
    tempos=st.lists(st.floats(30, 300), min_size=1, max_size=30),
    bpm=st.floats(30, 300),
)
def test_each_bar_off_the_tempo_is_in_one_passage(tempos: list[float], bpm: float) -> None:
    found = tempo_changes(np.array(tempos), bpm)
    bars = [bar for passage in found for bar in passage.bars]
    assert bars == [n for n, tempo in enumerate(tempos) if abs(log(tempo / bpm)) > log(1.03)]
    for passage in found:
        assert list(passage.bars) == list(range(passage.bars[0], passage.bars[-1] + 1))
        inside = [tempos[bar] for bar in passage.bars]
        assert (passage.slowest, passage.fastest) == (min(inside), max(inside))
        assert (passage.slowest > bpm) == (passage.fastest > bpm)


@given(st.lists(st.floats(40, 240), min_size=1, max_size=9))
def test_even_bars_have_their_tempo(tempos: list[float]) -> None:
    lines = np.arange(len(tempos) + 1) * 4.0
    times = np.concatenate(([0.0], np.cumsum([4 * 60 / tempo for tempo in tempos])))
    beats = part_places(lines)
    assert bar_tempos(beats, np.interp(beats, lines, times)) == pytest.approx(tempos)


def test_a_bar_has_four_parts() -> None:
    assert part_places(np.array([0.0, 4.0, 6.0])).tolist() == [[0, 1, 2, 3, 4], [4, 4.5, 5, 5.5, 6]]


def test_a_hold_within_a_bar_is_none() -> None:
    lines = np.array([0.0, 4.0, 8.0])
    times = np.interp(part_places(lines), range(9), [0, 0.5, 1, 1.5, 2, 2.5, 3, 5, 5.5])
    assert tempo_changes(bar_tempos(part_places(lines), times), 120.0) == ()


def test_passages_are_told_with_their_bars_and_many_by_their_extremes() -> None:
    numbers = range(9, 40)
    tempos = np.full(12, 100.0)
    assert tempi_in_words(tempo_changes(tempos, 100.0), 100.0, numbers) == ""
    tempos[1], tempos[4:6], tempos[11] = 104.0, (90.0, 80.0), 70.0
    assert tempi_in_words(tempo_changes(tempos, 100.0), 100.0, numbers) == (
        "the tempo is 100, but bar 10 is faster (104), bars 13-14 are slower (80 to 90), "
        "bar 20 is slower (70)"
    )
    tempos[8] = 110.0
    assert tempi_in_words(tempo_changes(tempos, 100.0), 100.0, numbers) == (
        "in 5 bars the tempo is more than 3 % off 100: it goes from 70 (bar 20) to 110 (bar 17)"
    )
