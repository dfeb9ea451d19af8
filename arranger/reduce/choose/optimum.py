"""The exact optimum over all ways of giving two voices and the drums to a song.

Dynamic programming over segments (R. Bellman, 1957: the principle of optimality). The state is the
pair of slots that the voices hold. Moves cost each voice by itself, so the step from one segment to
the next is two small minimisations, one a voice: K**3 sums instead of K**4. Time is linear in the number
of segments.

The passes are here in numpy and in ``_optimum.c``, which is used where it could be compiled.
"""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.compiled import compiled

if TYPE_CHECKING:
    from arranger.columns import Ints
    from arranger.reduce.choose.price import Priced

_compiled = compiled("arranger.reduce.choose._optimum", "659f05a5")


class Optimum(NamedTuple):
    """A path and its cost. T segments."""

    slots1: Ints
    """Shape (T,): what voice 1 holds, as a slot."""
    slots2: Ints
    cost: int
    """In units of `arranger.reduce.choose.rates`."""


def solve(priced: Priced) -> Optimum:
    """Return the cheapest path; among equals the one with the lower slots at the end."""
    if _compiled is None:
        return solve_in_numpy(priced)
    layout = priced.layout
    slots = np.empty((2, len(layout.counts)), dtype=np.int64)
    arrays = (layout.counts, layout.sides, layout.places, priced.node, priced.move1, priced.move2)
    cost = _compiled.solve(*arrays, *slots)
    return Optimum(slots1=slots[0], slots2=slots[1], cost=cost)


def solve_in_numpy(priced: Priced) -> Optimum:
    """Return the same as `solve`."""
    reached, halves = forward(priced)
    last = reached[-1]
    a, b = divmod(int(last.argmin()), last.shape[1])
    path = [(a, b), *traced_back(priced, reached, halves, a, b)]
    slots = np.array(path[::-1], dtype=np.int64)
    return Optimum(slots1=slots[:, 0], slots2=slots[:, 1], cost=int(last[a, b]))


def forward(priced: Priced) -> tuple[list[Ints], list[Ints]]:
    """Return for each segment the least cost of reaching each state, and halfway there.

    ``halves[t][b, a]`` is the least cost of voice 1 holding a in segment t while voice 2 still
    holds b of the segment before.
    """
    least = np.minimum.reduce
    state: Ints = np.zeros((1, 1), dtype=np.int64)
    reached: list[Ints] = []
    halves: list[Ints] = []
    for node, move1, move2 in priced.segments():
        half = least(state[:, :, None] + move1[:, None, :], axis=0)
        state = least(half[:, :, None] + move2[:, None, :], axis=0)
        state += node
        reached.append(state)
        halves.append(half)
    return reached, halves


def traced_back(
    priced: Priced, reached: list[Ints], halves: list[Ints], a: int, b: int
) -> list[tuple[int, int]]:
    """Return the states before the one that was reached, last first."""
    path = []
    costs = list(islice(priced.segments(), len(reached)))
    for t in range(len(reached) - 1, 0, -1):
        _, move1, move2 = costs[t]
        before = int((halves[t][:, a] + move2[:, b]).argmin())
        a = int((reached[t - 1][:, before] + move1[:, a]).argmin())
        b = before
        path.append((a, b))
    return path
