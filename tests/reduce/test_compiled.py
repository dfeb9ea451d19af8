"""What is compiled finds what numpy finds, and the program does the same without it."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.reduce.choose import _optimum
from arranger.reduce.choose.optimum import solve, solve_in_numpy
from arranger.reduce.choose.price import Layout, Priced
from arranger.reduce.choose.rates import FAR
from arranger.reduce.worth import _reading
from arranger.reduce.worth.tune_model import CHUNK, UNITS, WARM_UP, read_in_numpy

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.columns import Ints

WITHOUT = """
import sys
sys.modules["arranger.reduce.choose._optimum"] = None
sys.modules["arranger.reduce.worth._reading"] = None
from arranger.reduce.choose import optimum
from arranger.reduce.worth import tune_model
assert optimum._compiled is tune_model._compiled is None
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
    layout = Layout(counts=counts, sides=sides, places=places)
    dearest = draw(st.sampled_from((1, 3, 2**30)))

    def costs() -> Ints:
        return random.integers(-dearest, dearest, layout.cells, endpoint=True)

    node = np.where(random.random(layout.cells) < draw(st.sampled_from((0.0, 0.2))), FAR, costs())
    node[places] = 0  # both may rest everywhere
    return Priced(layout=layout, node=node, move1=costs(), move2=costs())


@settings(max_examples=300, deadline=None)
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
    assert found == pytest.approx(read_in_numpy(*given), abs=2e-5)
    with pytest.raises(ValueError, match="don't fit"):
        _reading.read_both_ways(*given, np.empty((many + 1, 2 * UNITS), np.float32), CHUNK, WARM_UP)
    with pytest.raises(ValueError, match="don't fit"):
        _reading.read_both_ways(*given, found, 0, WARM_UP)


def test_without_it_a_song_comes_out_the_same(tmp_path: Path, demo_song: Path) -> None:
    sheets = []
    for name, program in (("with", ("-m", "arranger")), ("without", ("-c", WITHOUT))):
        folder = tmp_path / name
        words = ("convert", str(demo_song), "-o", str(folder), "--no-audio", "--no-suggestions")
        subprocess.run([sys.executable, *program, *words], check=True, capture_output=True)
        sheets.append((folder / f"{demo_song.stem}.duet").read_bytes())
    assert sheets[0] == sheets[1]
