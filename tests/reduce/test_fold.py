"""Folding keeps the contour of a line where it can."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.engine.model import Pitch
from arranger.reduce.place.fold import fold

ENGINE = load_engine("twin-phase")
TOP = ENGINE.highest
BOTTOM = ENGINE.lowest


def folded(line: list[int], *, length: int = 1, spread: int = 1) -> list[int]:
    onset = np.arange(len(line)) * spread
    pitches = np.array(line, dtype=np.int64)
    part = np.zeros(len(line), dtype=np.int64)
    return fold(pitches, part, onset, onset + length, steps_per_beat=1.0, engine=ENGINE).tolist()


def test_a_short_phrase_over_the_edge_moves_as_a_whole() -> None:
    phrase = [TOP - 2, TOP, TOP + 2, TOP]
    assert folded(phrase) == [p - 12 for p in phrase]


def test_one_note_over_the_edge_of_a_long_phrase_moves_alone() -> None:
    phrase = [TOP - 2, TOP - 4] * 6 + [TOP + 1] + [TOP - 2, TOP - 4] * 6
    expected = [TOP - 11 if p > TOP else p for p in phrase]
    assert folded(phrase) == expected


def test_phrases_between_rests_move_by_themselves() -> None:
    low, high = [TOP - 20] * 4, [TOP + 1] * 4
    pitches = np.array([*low, *high], dtype=np.int64)
    onset = np.array([0, 1, 2, 3, 8, 9, 10, 11])
    found = fold(
        pitches, np.zeros(8, dtype=np.int64), onset, onset + 1, steps_per_beat=1.0, engine=ENGINE
    )
    assert found.tolist() == [*low, *(p - 12 for p in high)]


@pytest.mark.parametrize(("rest", "apart"), [(2, True), (1, False)])
def test_a_rest_of_a_beat_divides_phrases_and_a_shorter_one_does_not(
    rest: int, apart: bool
) -> None:
    """Two notes low, then four over the edge: before the last of the low ones nothing rests."""
    pitches = np.array([TOP - 2, TOP - 2, TOP + 1, TOP + 1, TOP + 1], dtype=np.int64)
    onset = np.array([0, 1, 2 + rest, 3 + rest, 4 + rest])
    found = fold(
        pitches, np.zeros(5, dtype=np.int64), onset, onset + 1, steps_per_beat=2.0, engine=ENGINE
    )
    assert found[2:].tolist() == [TOP - 11] * 3
    assert (found[0] == TOP - 2) == apart


def test_a_chord_keeps_its_shape() -> None:
    pitches = np.array([TOP - 3, TOP, TOP + 4], dtype=np.int64)
    zeros = np.zeros(3, dtype=np.int64)
    found = fold(pitches, zeros, zeros, zeros + 4, steps_per_beat=4.0, engine=ENGINE)
    assert found.tolist() == [TOP - 15, TOP - 12, TOP - 8]


def test_a_chord_with_a_hole_in_the_middle_moves_to_where_the_table_has_all_of_it() -> None:
    table = {pitch: Pitch(pitch, pitch, 1.0, 0.0) for pitch in (60, 67, 72, 76, 79)}
    zeros = np.zeros(3, dtype=np.int64)
    engine = replace(ENGINE, pitches=table)
    chord = np.array([60, 64, 67])
    found = fold(chord, zeros, zeros, zeros + 4, steps_per_beat=4.0, engine=engine)
    assert found.tolist() == [72, 76, 79]


@given(st.lists(st.integers(0, 127), min_size=1, max_size=30))
def test_whatever_the_line_it_is_played_at_its_pitch_class(line: list[int]) -> None:
    found = folded(line)
    assert all(pitch in ENGINE.pitches for pitch in found)
    assert all((a - b) % 12 == 0 for a, b in zip(found, line, strict=True))
    inside = all(pitch in ENGINE.pitches for pitch in line)
    if inside:
        assert found == line


@given(st.integers(-24, 24), st.lists(st.integers(-3, 3), min_size=1, max_size=5))
def test_a_narrow_short_phrase_keeps_every_interval(shift: int, steps: list[int]) -> None:
    line = np.cumsum([TOP + shift, *steps]).tolist()
    found = folded(line)
    assert [b - a for a, b in pairwise(found)] == [b - a for a, b in pairwise(line)]
