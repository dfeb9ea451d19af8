"""The exact optimum over all ways of giving two voices and the drums to a song.

Dynamic programming over segments (R. Bellman, 1957: the principle of optimality). The state is the
pair of slots that the voices hold. Moves cost each voice by itself, so the step from one segment to
the next is two small minimisations, one a voice: K**3 sums instead of K**4. Time is linear in the
number of segments.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from arranger.reduce.candidates import Bools, Floats, Ints, Problem
    from arranger.reduce.terms import Priced


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Optimum:
    """The best path. T segments."""

    slots1: Ints
    """Shape (T,): what voice 1 holds, as a slot."""
    slots2: Ints
    drum: Bools
    """Shape (T,): whether the drum sounds."""
    cost: float


def solve(problem: Problem, priced: Priced) -> Optimum:
    """Return the cheapest path; among equals the one with the lower slots at the end."""
    counts = problem.counts.tolist()
    move1, move2 = priced.move1, priced.move2
    reached, halves = _forward(priced, counts)
    last = reached[-1]
    end = int(last.argmin())
    slots = np.empty((len(counts), 2), dtype=np.int64)
    a, b = divmod(end, last.shape[1])
    cost = float(last[a, b])
    for t in range(len(counts) - 1, -1, -1):
        slots[t] = a, b
        if t == 0:
            break
        # halves[t][b before, a now] is the best cost over what voice 1 held before
        b_before = int((halves[t][:, a] + move2[t, : counts[t - 1], b]).argmin())
        a = int((reached[t - 1][:, b_before] + move1[t, : counts[t - 1], a]).argmin())
        b = b_before
    segments = np.arange(len(counts))
    drum = priced.drum_sounds[segments, slots[:, 0], slots[:, 1]]
    return Optimum(slots1=slots[:, 0], slots2=slots[:, 1], drum=drum, cost=cost)


def _forward(priced: Priced, counts: list[int]) -> tuple[list[Floats], list[Floats]]:
    """Return for each segment the least cost of reaching each state, and halfway there."""
    node, move1, move2 = priced.node, priced.move1, priced.move2
    least = np.minimum.reduce
    state: Floats = np.zeros((1, 1))
    reached: list[Floats] = []
    halves: list[Floats] = []
    before = 1
    for t, now in enumerate(counts):
        half = least(state[:, :, None] + move1[t, :before, None, :now], axis=0)
        state = least(half[:, :, None] + move2[t, :before, None, :now], axis=0)
        state += node[t, :now, :now]
        reached.append(state)
        halves.append(half)
        before = now
    return reached, halves
