"""What is compiled finds what numpy finds, and the program does the same without it."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.reduce.choose import _optimum, _prices, _turns
from arranger.reduce.choose import price as price_module
from arranger.reduce.choose.costs import costs_from
from arranger.reduce.choose.optimum import solve, solve_in_numpy
from arranger.reduce.choose.price import CostLayout, Priced, prices
from arranger.reduce.choose.rates import FAR, Rates
from arranger.reduce.choose.turns import LATER, choose, choose_in_python
from arranger.reduce.worth import _reading, tune_model
from arranger.reduce.worth.tune_model import CHUNK, PADDING, REACH, UNITS, VALUES, WARM_UP, voicing
from tests.reduce.test_optimum import COSTS, problem_of, rates_for, songs

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from arranger.columns import Ints
    from tests.reduce.reference import Song

WITHOUT = """
import sys
sys.modules["arranger.grid.track._follow"] = None
sys.modules["arranger.machine._phrases"] = None
sys.modules["arranger.reduce.choose._optimum"] = None
sys.modules["arranger.reduce.choose._prices"] = None
sys.modules["arranger.reduce.choose._turns"] = None
sys.modules["arranger.reduce.tell._account"] = None
sys.modules["arranger.reduce.worth._reading"] = None
sys.modules["arranger.song.midi._events"] = None
from arranger.grid.track import follow
from arranger.machine import phrases
from arranger.reduce.choose import optimum, price, turns
from arranger.reduce.tell import told
from arranger.reduce.worth import tune_model
from arranger.song.midi import events
users = (events, follow, optimum, phrases, price, told, turns, tune_model)
assert {each._compiled for each in users} == {None}
from arranger.cli.start import main
main()
"""


@st.composite
def problems(draw: st.DrawFn) -> Priced:
    """Draw costs of which many are equal, in squares of any size and order."""
    counts = np.array(draw(st.lists(st.integers(1, 6), min_size=1, max_size=30)))
    most = np.maximum(counts, np.append(1, counts[:-1]))
    sides = most + draw(st.integers(0, 2))
    random = np.random.default_rng(draw(st.integers(0, 2**32)))
    order = random.permutation(len(counts))
    places = np.empty_like(counts)
    places[order] = np.append(0, np.cumsum(sides[order] ** 2)[:-1])
    layout = CostLayout(counts=counts, sides=sides, places=places)
    dearest = draw(st.sampled_from((1, 3, 2**30)))

    def costs() -> Ints:
        return random.integers(-dearest, dearest, layout.cells, endpoint=True)

    node = np.where(random.random(layout.cells) < draw(st.sampled_from((0.0, 0.2))), FAR, costs())
    node[places] = 0  # both may rest everywhere
    return Priced(layout=layout, node=node, move1=costs(), move2=costs())


@settings(max_examples=100, deadline=None)
@given(problems())
def test_both_find_the_same_path_of_the_same_cost(priced: Priced) -> None:
    one, two = solve(priced), solve_in_numpy(priced)
    assert one.cost == two.cost
    for name in ("slots1", "slots2"):
        assert getattr(one, name).tolist() == getattr(two, name).tolist(), name
    cost, a, b = 0, 0, 0
    path = zip(one.slots1.tolist(), one.slots2.tolist(), priced.segments(), strict=True)
    for c, d, (node, move1, move2) in path:
        cost += int(node[c, d] + move1[a, c] + move2[b, d])
        a, b = c, d
    assert cost == one.cost


def spread_out(rates: Rates) -> list[list[Ints]]:
    """Return the prices of a problem, the squares of each segment as far as they are in use."""
    found = prices(rates)
    moves = Priced(found.layout, found.changes, found.move1, found.move2)
    nodes = Priced(found.layout, found.node, found.changes, found.changes)
    whole = zip(nodes.segments(), moves.segments(), strict=True)
    return [[node, changes, move1, move2] for (node, changes, _), (_, move1, move2) in whole]


@settings(max_examples=40, deadline=None)
@given(
    songs(most_steps=16, most_tones=12),
    st.sampled_from(COSTS),
)
def test_both_price_all_choices_alike(song: Song, costs: Mapping[str, float]) -> None:
    rates = rates_for(song, problem_of(song), costs_from(costs))
    compiled = spread_out(rates)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(price_module, "_compiled", None)
        for t, (one, two) in enumerate(zip(compiled, spread_out(rates), strict=True)):
            for name, a, b in zip(("node", "changes", "move1", "move2"), one, two, strict=True):
                assert a.tolist() == b.tolist(), (t, name)


def test_columns_that_do_not_fit_each_other_have_no_price() -> None:
    nothing = np.zeros(1, dtype=np.int64)
    numbers = (1, 0.5, 0.5, 1.0, *[1] * 9)
    with pytest.raises(ValueError, match="don't fit"):
        _prices.price((nothing,) * 33, *numbers)
    with pytest.raises(ValueError, match="more or fewer"):
        _prices.price((nothing,), *numbers)


chords = st.frozensets(st.integers(36, 60), max_size=6).map(sorted)
moments = st.tuples(
    st.integers(0, 9).map(bool), st.integers(0, 2), *[st.booleans()] * 4,
    st.sampled_from((0, 0, 1, 0b10010001)), st.sampled_from((-1, 60, 72)), st.booleans(),
    st.integers(0, 11), chords,
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.lists(moments, max_size=40))
def test_both_give_the_same_turns(rows: list[tuple[int | list[int], ...]]) -> None:
    columns = np.array([row[:-1] for row in rows], dtype=np.int64).reshape(-1, 10).T
    pitches = np.full((len(rows), 6), 1000)
    for filled, row in zip(pitches, rows, strict=True):
        filled[: len(row[-1])] = row[-1]  # type: ignore[arg-type]
    sounding = np.count_nonzero(pitches < 1000, axis=1)
    given = np.ascontiguousarray(columns), pitches, sounding
    assert choose(*given).tolist() == choose_in_python(*given).tolist()


def test_chords_that_do_not_rise_have_no_turns() -> None:
    columns, found, later = np.zeros((10, 1), int), np.zeros((2, 1), int), np.array(LATER)
    for chord, many in (([60, 60], 2), ([60], 2), ([-1], 1)):
        with pytest.raises(ValueError, match="don't fit"):
            _turns.chosen(columns, np.array([chord]), np.array([many]), later, found, 2.0, 12, 10)


def test_arrays_that_do_not_fit_each_other_are_refused() -> None:
    def solved(
        counts: tuple[int, ...] = (1, 2), sides: tuple[int, ...] = (1, 2), cells: int = 5
    ) -> int:
        layout = (np.array(column) for column in (counts, sides, (0, 1)))
        return _optimum.solve(*layout, *np.zeros((3, cells), int), *np.zeros((2, 2), int))

    assert solved() == 0
    for wrong in ({"cells": 4}, {"counts": (1, 3)}, {"counts": (2, 1)}, {"counts": (0, 2)}):
        with pytest.raises(ValueError, match="don't fit"):
            solved(**wrong)
    with pytest.raises(ValueError, match="don't fit"):
        solved(sides=(1, 2, 3))


@pytest.mark.parametrize("many", [0, 1, CHUNK - 1, CHUNK, 2 * CHUNK + 40])
def test_the_notes_are_read_as_numpy_reads_them(many: int) -> None:
    random = np.random.default_rng(many)
    shapes = ((2, many, 3 * UNITS), (2, 3 * UNITS), (2, UNITS, 3 * UNITS), (2, 3 * UNITS))
    given = [random.normal(0, 2, shape).astype(np.float32) for shape in shapes]
    given[0][:, many // 2 :] *= 30  # where the units are sure
    given[2] /= 8
    found = np.full((many, 2 * UNITS), np.nan, dtype=np.float32)
    _reading.read_both_ways(*given, found, CHUNK, WARM_UP)
    assert found == pytest.approx(tune_model.read_in_numpy(*given), abs=2e-5)
    with pytest.raises(ValueError, match="don't fit"):
        _reading.read_both_ways(*given, np.empty((many + 1, 2 * UNITS), np.float32), CHUNK, WARM_UP)
    with pytest.raises(ValueError, match="don't fit"):
        _reading.read_both_ways(*given, found, 0, WARM_UP)


@pytest.mark.parametrize("many", [1, 7, 8, 30])
def test_what_is_around_notes_is_found_as_numpy_finds_it(many: int) -> None:
    random = np.random.default_rng(many)
    onset = np.sort(random.integers(0, many, many) / 3)
    length = random.choice((0.0, 0.1, 0.5, 4.0), many)
    notes = voicing(onset, onset + length, random.integers(36, 84, many), random.random(many))
    near = tune_model.with_neighbours(notes)
    value = np.zeros((len(near.onset), VALUES + PADDING), dtype=np.float32)
    value[REACH:-REACH, : VALUES + 1] = random.random((many, VALUES + 1))
    net = tune_model._network()
    weights = [net[name] for name in ("message", "message_bias", "kernel", "kernel_bias")]
    found = tune_model._seen(near, value, net)
    expected = tune_model.seen_in_numpy(near, value, *weights)
    assert found == pytest.approx(expected, rel=1e-4, abs=2e-5)
    columns = (*near, np.log(near.length), value, *weights, found)
    for wrong in range(len(columns) - 1):
        fewer = [*columns[:wrong], columns[wrong][:-1], *columns[wrong + 1 :]]
        with pytest.raises(ValueError, match="don't fit"):
            _reading.look_around(*fewer)


def test_without_it_a_song_comes_out_the_same(tmp_path: Path, demo_song: Path) -> None:
    sheets = []
    for name, program in (("with", ("-m", "arranger")), ("without", ("-c", WITHOUT))):
        folder = tmp_path / name
        words = ("convert", str(demo_song), "-o", str(folder), "--no-audio", "--no-suggestions")
        subprocess.run([sys.executable, *program, *words], check=True, capture_output=True)
        sheets.append((folder / f"{demo_song.stem}.duet").read_bytes())
    assert sheets[0] == sheets[1]
