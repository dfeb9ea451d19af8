"""Simplifying a song until it fits into so many bytes.

What takes bytes is change: a tone that starts or ends, a drum. So every change is given a price in
the same optimisation, and the least price is sought at which the song fits. The optimum then leaves
out what matters least for the changes it needs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import LimitError
from arranger.reduce.choose.optimum import solve
from arranger.reduce.choose.prepare import rates, with_hits
from arranger.reduce.choose.price import price, prices
from arranger.reduce.choose.rates import units
from arranger.reduce.perform.performance import held_in, perform

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from arranger.grid.model import Grid
    from arranger.reduce.choose.prepare import Prepared
    from arranger.reduce.choose.rates import Rates
    from arranger.reduce.perform.performance import Performance
    from arranger.rows import Row

    Measure = Callable[[tuple[Row, Row], Sequence[str | None]], int]

FIRST_PRICE = 0.02
"""In beats of the tune, of one change."""

MOST_DOUBLINGS = 11
"""Of the price: 40 beats of the tune a change leave next to nothing."""

REFINEMENTS = 10
"""Halvings, at most, of the interval in which the price is sought."""

TURNS_LEFT = 4
"""By what the cost of missing a turn is divided: turns take many bytes, and the tune must outlast them."""

CLOSE_ENOUGH = 0.98
"""Share of the limit from which nothing more is sought."""


class Fitted(NamedTuple):
    """A performance that fits."""

    performance: Performance
    bytes: int
    price: float
    """Of a change, in beats of the tune."""
    next_bytes: int
    """The least that was found to be too much: with so much room more would stay."""


def song_size(measure: Measure, prepared: Prepared, performance: Performance) -> int:
    """Return the bytes that a performance takes."""
    names, _notes = performance.hits.rows(prepared.problem.steps)
    return measure(performance.rows, names)


def unlimited(prepared: Prepared, grid: Grid) -> Performance:
    """Return the performance that takes as many bytes as it needs."""
    held = held_in(prepared.problem, solve(price(rates(prepared, grid))))
    return perform(prepared.problem, held, prepared.hits, gap=prepared.engine.gap)


def fit(measure: Measure, grid: Grid, prepared: Prepared, size: int, limit: int) -> Fitted:
    """Return the performance with the least price on changes that takes at most ``limit`` bytes.

    Raises as `cheapest`.
    """
    return cheapest(_Trial(measure, grid, prepared).at, size, limit)


def cheapest(at: Callable[[float], Fitted], size: int, limit: int) -> Fitted:
    """Return what takes at most ``limit`` bytes at the least price; ``at`` returns that at a price.

    Sizes come in leaps: at one price a figure goes from all bars that have it, so that the largest
    that fits may be well below the limit. ``size`` is that without a price.

    Raises `LimitError` if even the simplest takes more.
    """
    low, too_large = 0.0, size
    found = at(FIRST_PRICE)
    for _ in range(MOST_DOUBLINGS):
        if found.bytes <= limit:
            break
        low, too_large = found.price, found.bytes
        found = at(2 * found.price)
    if found.bytes > limit:
        raise LimitError(
            f"the song takes {found.bytes} bytes even when it is simplified, more than {limit}",
            remedy="allow more with --max-bytes, or convert fewer bars or with a longer step",
        )
    for _ in range(REFINEMENTS):
        if found.bytes >= CLOSE_ENOUGH * limit:
            break
        tried = at((low + found.price) / 2)
        if tried.bytes <= limit:
            found = tried
        else:
            low, too_large = tried.price, tried.bytes
    return found._replace(next_bytes=too_large)


def price_of(measure: Measure | None, grid: Grid, prepared: Prepared, limit: int | None) -> float:
    """Return the price on changes at which a song is converted; 0 where it fits as it is."""
    if limit is None or measure is None:
        return 0.0
    size = song_size(measure, prepared, unlimited(prepared, grid))
    return fit(measure, grid, prepared, size, limit).price if size > limit else 0.0


def with_dear_changes(rates: Rates, cost: float) -> Rates:
    """Return the rates when every change costs so many beats of the tune more; 0: as they are."""
    if not cost:
        return rates
    turn = None if rates.turn is None else rates.turn // TURNS_LEFT
    return rates._replace(change=int(units(cost)), turn=turn)


def priced_hits(prepared: Prepared, grid: Grid, cost: float) -> Prepared:
    """Return what is prepared, with the drums that stay when each costs so many beats of the tune."""
    hits = prepared.groove.chosen(prepared.harm, cost)
    if len(hits.steps) != len(prepared.hits.steps) and prepared.problem.covered.any():
        return with_hits(prepared, grid, hits)
    return prepared._replace(hits=hits)


class _Trial:
    """Remembers what is the same at all prices with as many drums."""

    def __init__(self, measure: Measure, grid: Grid, prepared: Prepared) -> None:
        self._measure = measure
        self._grid = grid
        self._lay_out(prepared)

    def _lay_out(self, prepared: Prepared) -> None:
        self._prepared, self._rates = prepared, rates(prepared, self._grid)
        self._prices = prices(with_dear_changes(self._rates, FIRST_PRICE))

    def at(self, cost: float) -> Fitted:
        """Return the optimum when every change costs so much, more than 0."""
        prepared = priced_hits(self._prepared, self._grid, cost)
        if prepared.problem is not self._prepared.problem:
            self._lay_out(prepared)
        problem, costs = prepared.problem, prepared.costs
        optimum = solve(self._prices.at(with_dear_changes(self._rates, cost)))
        share = costs.tied * costs.attack
        performance = perform(
            problem,
            held_in(problem, optimum),
            prepared.hits,
            gap=prepared.engine.gap,
            least_worth=cost / share if share else 0.0,
        )
        size = song_size(self._measure, prepared, performance)
        return Fitted(performance, size, cost, size)
