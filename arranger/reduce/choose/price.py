"""The costs of all choices of all segments, and those of one path term by term.

A path chooses for each segment what voice 1 holds (slot a) and what voice 2 holds (slot b). Its cost is the sum over segments of ``node[a, b]`` plus, for each voice,
``move1`` or ``move2`` from the slot before to the slot now; all are whole units of
`arranger.reduce.choose.rates`.

Segments with about as many candidates are priced together, so that one dense passage doesn't make
the whole song slow.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import distinct
from arranger.reduce.choose.rates import FAR
from arranger.reduce.choose.terms import batch_of, covered_terms, move_terms, quiet_terms

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.columns import Ints
    from arranger.reduce.choose.rates import Rates
    from arranger.reduce.choose.terms import Terms

_WIDTHS = np.array((3, 5, 6, 7, 8, 10, 2**31))
"""Slots, the rest included, up to which segments are priced together."""

_MOST_CELLS = 32_768
"""Segments times pairs of slots that are priced at once: their arrays stay in the cache."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Priced:
    """Costs of a problem: lists with one array for each of T segments. K slots are in use."""

    node: list[Ints]
    """Shape (K, K): of holding a in voice 1 and b in voice 2."""
    move1: list[Ints]
    """Shape (K before, K): of voice 1 moving from the slot before to the slot now."""
    move2: list[Ints]
    """The same of voice 2; the same list where its moves cost the same."""


class State(NamedTuple):
    """What happens in a segment: the tone of each voice (-1: rest)."""

    voice1: int
    voice2: int


def price(rates: Rates) -> Priced:
    """Return the costs of every choice."""
    counts = rates.problem.counts
    before = np.append(1, counts[:-1])
    node: list[Ints] = [np.zeros((0, 0), dtype=np.int64)] * len(counts)
    move1 = list(node)
    move2 = move1 if rates.free is None else list(node)
    now_counts, before_counts = counts.tolist(), before.tolist()
    for rows in _batches(np.maximum(counts, before)):
        width = int(max(counts[rows].max(), before[rows].max()))
        batch = batch_of(rates, rows, width)
        shape = batch.alike.shape
        nodes = _sum(quiet_terms(rates, batch), shape)
        covered = np.flatnonzero(rates.problem.covered[rows])
        if len(covered):
            terms = covered_terms(rates, batch.only(covered))
            nodes[covered] = _sum(terms, (len(covered), *shape[1:]))
        itself = np.arange(1, width)
        nodes[:, itself, itself] = FAR  # no two voices hold one tone
        moves1 = _sum(move_terms(rates, batch, 1), shape)
        moves2 = None if move2 is move1 else _sum(move_terms(rates, batch, 2), shape)
        for i, t in enumerate(rows.tolist()):
            now = now_counts[t]
            node[t] = nodes[i, :now, :now]
            move1[t] = moves1[i, : before_counts[t], :now]
            if moves2 is not None:
                move2[t] = moves2[i, : before_counts[t], :now]
    return Priced(node=node, move1=move1, move2=move2)


def _batches(counts: Ints) -> Iterator[Ints]:
    """Yield the segments, those with about as many slots together."""
    classes = np.searchsorted(_WIDTHS, counts)
    for size in distinct(classes).tolist():
        rows = np.flatnonzero(classes == size)
        size_rows = max(_MOST_CELLS // int(counts[rows].max()) ** 2, 1)
        for start in range(0, len(rows), size_rows):
            yield rows[start : start + size_rows]


def _sum(terms: Terms, shape: tuple[int, ...]) -> Ints:
    """Return the sum of all terms; those that stretch alike are added before they are stretched."""
    by_shape: dict[tuple[int, ...], Ints] = {}
    for _, cost in terms:
        found = by_shape.get(cost.shape)
        by_shape[cost.shape] = cost if found is None else found + cost
    total = np.zeros(shape, dtype=np.int64)
    for cost in by_shape.values():
        total += cost
    return total


def breakdown(rates: Rates, path: Sequence[State], first: int = 0) -> Counter[str]:
    """Return what a path costs, in units by term; its first state is that of segment ``first``.

    The move into its first state is left out unless ``first`` is 0.
    """
    problem = rates.problem
    segments = np.arange(first, first + len(path))
    held = np.array(path, dtype=np.int64)
    slots = np.argmax(problem.candidates[segments, None, :] == held[:, :, None], axis=2)
    before = np.concatenate((np.zeros((1, 2), dtype=np.int64), slots[:-1]))
    covered = problem.covered[segments]
    total: Counter[str] = Counter()
    width = problem.candidates.shape[1]
    size = max(_MOST_CELLS // width**2, 1)
    for start in range(0, len(path), size):
        here = slice(start, start + size)
        batch = batch_of(rates, segments[here], width)
        choice = slots[here, 0], slots[here, 1]
        for terms, which in ((quiet_terms, ~covered[here]), (covered_terms, covered[here])):
            _pick(total, terms(rates, batch), width, np.flatnonzero(which), choice)
        moved = np.flatnonzero((segments[here] > first) | (segments[here] == 0))
        for i, voice in enumerate((1, 2)):
            choice = before[here, i], slots[here, i]
            _pick(total, move_terms(rates, batch, voice), width, moved, choice)
    return total


def _pick(
    total: Counter[str], terms: Terms, width: int, rows: Ints, choice: tuple[Ints, Ints]
) -> None:
    """Add to the terms what some segments cost at the slots that were chosen."""
    for term, cost in terms:
        every = np.broadcast_to(cost, (len(choice[0]), width, width))
        total[term] += int(every[rows, choice[0][rows], choice[1][rows]].sum())
