"""The exact optimum over all ways of giving a song to two voices.

Dynamic programming over segments (R. Bellman, 1957: the principle of optimality). The state is the
pair of slots that the voices hold. Moves cost each voice by itself, so the step from one segment to
the next is two small minimisations, one a voice: K**3 sums instead of K**4. Time is linear in the number
of segments.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from arranger.columns import Ints
    from arranger.reduce.choose.price import Priced


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Optimum:
    """A path and its cost. T segments."""

    slots1: Ints
    """Shape (T,): what voice 1 holds, as a slot."""
    slots2: Ints
    cost: int
    """In units of `arranger.reduce.choose.rates`."""


def solve(priced: Priced) -> Optimum:
    """Return the cheapest path; among equals the one with the lower slots at the end."""
    reached, halves = forward(priced)
    last = reached[-1]
    a, b = divmod(int(last.argmin()), last.shape[1])
    path = [(a, b), *back(priced, reached, halves, a, b)]
    return as_optimum(path[::-1], int(last[a, b]))


def forward(priced: Priced) -> tuple[list[Ints], list[Ints]]:
    """Return for each segment the least cost of reaching each state, and halfway there.

    ``halves[t][b, a]`` is the least cost of voice 1 holding a in segment t while voice 2 still
    holds b of the segment before.
    """
    least = np.minimum.reduce
    state: Ints = np.zeros((1, 1), dtype=np.int64)
    reached: list[Ints] = []
    halves: list[Ints] = []
    for node, move1, move2 in zip(priced.node, priced.move1, priced.move2, strict=True):
        half = least(state[:, :, None] + move1[:, None, :], axis=0)
        state = least(half[:, :, None] + move2[:, None, :], axis=0)
        state += node
        reached.append(state)
        halves.append(half)
    return reached, halves


def back(
    priced: Priced, reached: list[Ints], halves: list[Ints], a: int, b: int
) -> list[tuple[int, int]]:
    """Return the states before the one that was reached, last first."""
    path = []
    for t in range(len(reached) - 1, 0, -1):
        before = int((halves[t][:, a] + priced.move2[t][:, b]).argmin())
        a = int((reached[t - 1][:, before] + priced.move1[t][:, a]).argmin())
        b = before
        path.append((a, b))
    return path


def as_optimum(path: list[tuple[int, int]], cost: int) -> Optimum:
    """Return a path by voice."""
    slots = np.array(path, dtype=np.int64)
    return Optimum(slots1=slots[:, 0], slots2=slots[:, 1], cost=cost)
