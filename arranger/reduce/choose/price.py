"""The costs of all choices of all segments, and those of one path term by term.

A path chooses for each segment what voice 1 holds (slot a) and what voice 2 holds (slot b). Its cost
is the sum over segments of ``node[a, b]`` plus, for each voice,
``move1`` or ``move2`` from the slot before to the slot now; all are whole units of
`arranger.reduce.choose.rates`.

Segments with about as many candidates are priced together, so that one dense passage doesn't make
the whole song slow. `Prices` are what stays while only the cost of a change is tried out.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from arranger.columns import distinct
from arranger.compiled import compiled
from arranger.reduce.choose.costs import LEAP_LIMIT, STREAM
from arranger.reduce.choose.rates import FAR, UNITS
from arranger.reduce.choose.terms import (
    batch_of,
    changes,
    costly,
    covered_terms,
    going_terms,
    move_terms,
    quiet_terms,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from arranger.columns import Bools, Ints
    from arranger.reduce.choose.rates import Rates
    from arranger.reduce.choose.terms import Terms

_compiled = compiled("arranger.reduce.choose._prices", "5395c30a")

# How segments are put together costs time and memory alone: no number below can change a price.
_WIDTHS = np.array((3, 5, 6, 7, 8, 10, 2**31))
"""Slots, the rest included, up to which segments are priced together."""

_MOST_CELLS = 32_768
"""Segments times pairs of slots that are priced at once: their arrays stay in the cache."""


class CostLayout(NamedTuple):
    """Where the costs of T segments lie in flat arrays: a square for each, partly in use."""

    counts: Ints
    """Shape (T,): slots in use."""
    sides: Ints
    """Shape (T,): of the square."""
    places: Ints
    """Shape (T,): of its first cell."""

    @property
    def cells(self) -> int:
        """Length of the flat arrays."""
        return int((self.sides**2).sum())


class Priced(NamedTuple):
    """Costs of a problem: flat arrays in which those of a segment lie as the layout says."""

    layout: CostLayout
    node: Ints
    """Of holding a in voice 1 and b in voice 2."""
    move1: Ints
    """Of voice 1 moving from the slot before to the slot now."""
    move2: Ints
    """The same of voice 2; the same array where its moves cost the same."""

    def segments(self) -> Iterator[tuple[Ints, Ints, Ints]]:
        """Yield for each segment the costs of holding (K, K) and of moving (K before, K)."""
        layout, before = self.layout, 1
        columns = (layout.counts, layout.sides, layout.places)
        for now, side, place in zip(*(column.tolist() for column in columns), strict=True):
            flat = (self.node, self.move1, self.move2)
            node, move1, move2 = (a[place : place + side**2].reshape(side, side) for a in flat)
            yield node[:now, :now], move1[:before, :now], move2[:before, :now]
            before = now


class Prices(NamedTuple):
    """Costs without those of changes for their own sake; flat arrays as in `Priced`."""

    layout: CostLayout
    node: Ints
    move1: Ints
    move2: Ints
    changes: Bools
    """Whether a voice that moves so changes what it holds."""

    def at(self, rates: Rates) -> Priced:
        """Return the costs at rates that differ in ``change`` alone."""
        move1, move2 = self.move1, self.move2
        if rates.change:
            more = rates.change * self.changes
            move1 = self.move1 + more
            move2 = move1 if self.move2 is self.move1 else self.move2 + more
        return Priced(layout=self.layout, node=self.node, move1=move1, move2=move2)


class VoiceState(NamedTuple):
    """What happens in a segment: the tone of each voice (-1: rest)."""

    voice1: int
    voice2: int


def price(rates: Rates) -> Priced:
    """Return the costs of every choice."""
    return prices(rates).at(rates)


def prices(rates: Rates) -> Prices:
    """Return the costs of every choice but those of changes for their own sake."""
    layout, batches = _laid_out(rates.problem.counts)
    # where a square isn't in use there is nothing that costs
    node, move1 = (np.zeros(layout.cells, dtype=np.int64) for _ in range(2))
    changed = np.zeros(layout.cells, dtype=np.bool_)
    move2 = move1 if rates.free is None else np.zeros_like(move1)
    found = Prices(layout=layout, node=node, move1=move1, move2=move2, changes=changed)
    if _compiled is None:
        price_in_numpy(rates, batches, found)
    else:
        r, width = rates, rates.problem.candidates.shape[1]
        whole = (r.doubling, r.unison, r.late, r.entry, r.leap, r.line, LEAP_LIMIT, STREAM, FAR)
        _compiled.price(
            (*_columns(rates, layout), *found[1:]), width, r.delay, r.crossing, UNITS, *whole
        )
    return found


def _columns(rates: Rates, layout: CostLayout) -> Iterator[NDArray[Any]]:
    """Yield what `_prices.c` looks at."""
    problem, start, step = rates.problem, rates.start, rates.step
    none = np.zeros(0, dtype=np.int64)
    lost = sum((*rates.starts_lost, *rates.steps_lost), start=np.zeros_like(problem.starts))
    columns = (
        *layout, problem.starts, problem.lengths, problem.covered, lost, problem.candidates, rates.scrap,
        none if rates.turn is None else rates.turn, none if rates.free is None else rates.free,
        rates.pitch, rates.onset, rates.released, rates.whose, rates.unheard, rates.lean, rates.in_tune,
        start.tune + start.bass, start.salience, start.by_octave,
        step.tune + step.bass, step.salience, step.by_octave,
        rates.broken, rates.gap + rates.tied, rates.wrong1, rates.wrong2, rates.split,
    )  # fmt: skip
    yield from map(np.ascontiguousarray, columns)


def price_in_numpy(rates: Rates, batches: list[Ints], found: Prices) -> None:
    """Write the same costs as what is compiled."""
    layout, node, move1, move2, changed = found
    for rows in batches:
        width, place = int(layout.sides[rows[0]]), int(layout.places[rows[0]])
        shape = (len(rows), width, width)
        cells = slice(place, place + len(rows) * width**2)
        batch = batch_of(rates, rows, width)
        nodes = _sum(quiet_terms(rates, batch), node[cells].reshape(shape))
        covered = np.flatnonzero(rates.problem.covered[rows])
        if len(covered):
            under = np.empty((len(covered), width, width), dtype=np.int64)
            nodes[covered] = _sum(covered_terms(rates, batch.only(covered)), under)
        itself = np.arange(1, width)
        nodes[:, itself, itself] = FAR  # no two voices hold one tone
        goes = changes(rates, batch)
        changed[cells] = goes.ravel()
        moves = _sum(going_terms(rates, batch), np.empty(shape, dtype=np.int64))
        for voice, move in enumerate((move1,) if move2 is move1 else (move1, move2), start=1):
            costs = costly(rates, batch, goes, voice)
            np.multiply(moves, costs, out=move[cells].reshape(shape))


def _laid_out(counts: Ints) -> tuple[CostLayout, list[Ints]]:
    """Return where costs lie, and the segments in batches that lie side by side."""
    most = np.maximum(counts, np.append(1, counts[:-1]))
    sides, places = np.empty_like(counts), np.empty_like(counts)
    batches = list(_batches(most))
    used = 0
    for rows in batches:
        side = int(most[rows].max())
        sides[rows] = side
        places[rows] = used + np.arange(len(rows)) * side**2
        used += len(rows) * side**2
    return CostLayout(counts=counts, sides=sides, places=places), batches


def _batches(counts: Ints) -> Iterator[Ints]:
    """Yield the segments, those with about as many slots together."""
    classes = np.searchsorted(_WIDTHS, counts)
    for size in distinct(classes).tolist():
        rows = np.flatnonzero(classes == size)
        size_rows = max(_MOST_CELLS // int(counts[rows].max()) ** 2, 1)
        for start in range(0, len(rows), size_rows):
            yield rows[start : start + size_rows]


def _sum(terms: Terms, total: Ints) -> Ints:
    """Write the sum of all terms; those that stretch alike are added before they are stretched."""
    by_shape: dict[tuple[int, ...], Ints] = {}
    for _, cost in terms:
        found = by_shape.get(cost.shape)
        by_shape[cost.shape] = cost if found is None else found + cost
    total[:] = by_shape.pop(total.shape)
    for cost in by_shape.values():
        total += cost
    return total


def breakdown(rates: Rates, path: Sequence[VoiceState], first: int = 0) -> Counter[str]:
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
