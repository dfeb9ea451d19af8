"""Simplifying a song until it fits into so many bytes.

What takes bytes is change: a tone that starts or ends, a drum. So every change is given a price in
the same optimisation, and the least price is sought at which the song fits. The optimum then leaves
out what matters least for the changes it needs.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.errors import LimitError
from arranger.machine import song_bytes
from arranger.reduce.attacks import held_in, perform
from arranger.reduce.optimum import solve
from arranger.reduce.prepare import priced
from arranger.sheet.model import Sheet, SheetBar

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.grid.model import Grid
    from arranger.reduce.attacks import Performance
    from arranger.reduce.ledger import Entry
    from arranger.reduce.prepare import Prepared
    from arranger.reduce.terms import Priced

FIRST_PRICE = 0.02
"""In beats of the tune, of one change."""

MOST_DOUBLINGS = 11
"""Of the price: 40 beats of the tune a change leave next to nothing."""

REFINEMENTS = 10
"""Halvings, at most, of the interval in which the price is sought."""

CLOSE_ENOUGH = 0.98
"""Share of the limit from which nothing more is sought."""


class Fitted(NamedTuple):
    """A performance that fits."""

    performance: Performance
    cost: float
    bytes: int
    price: float
    """Of a change, in beats of the tune."""
    next_bytes: int
    """The least that was found to be too much: with so much room more would stay."""


def song_size(engine: Engine, grid: Grid, prepared: Prepared, performance: Performance) -> int:
    """Return the bytes that a performance takes."""
    names: list[str | None] = [None] * grid.steps
    for step, sound in zip(prepared.drums.steps.tolist(), prepared.drums.sounds, strict=True):
        if performance.drum_on[step]:
            names[step] = sound.name
    sheet = Sheet(
        title="",
        engine=engine.name,
        step_beats=grid.step_beats,
        step_setting=grid.step_length.setting,
        bars=tuple(SheetBar(b.number, b.steps, b.numerator, b.denominator) for b in grid.bars),
        voice1=performance.rows[0],
        voice2=performance.rows[1],
        drums=tuple(names),
        loop_step=grid.loop_step,
    )
    return song_bytes(sheet, engine)


def fit(engine: Engine, grid: Grid, prepared: Prepared, size: int, limit: int) -> Fitted:
    """Return the performance with the least price on changes that takes at most ``limit`` bytes.

    Sizes come in leaps: at one price a figure goes from all bars that have it, so that the largest
    that fits may be well below the limit. ``size`` is that without a price.

    Raises
    ------
    LimitError
        If even the simplest takes more.
    """
    low, too_large = 0.0, size
    found = _performed(engine, grid, prepared, FIRST_PRICE)
    for _ in range(MOST_DOUBLINGS):
        if found.bytes <= limit:
            break
        low, too_large = found.price, found.bytes
        found = _performed(engine, grid, prepared, 2 * found.price)
    if found.bytes > limit:
        raise LimitError(
            f"the song takes {found.bytes} bytes even when it is simplified, more than {limit}",
            remedy="allow more with --max-bytes, or convert fewer bars or with a longer step",
        )
    for _ in range(REFINEMENTS):
        if found.bytes >= CLOSE_ENOUGH * limit:
            break
        tried = _performed(engine, grid, prepared, (low + found.price) / 2)
        if tried.bytes <= limit:
            found = tried
        else:
            low, too_large = tried.price, tried.bytes
    return found._replace(next_bytes=too_large)


def price_of(engine: Engine, grid: Grid, prepared: Prepared, limit: int | None) -> float:
    """Return the price on changes at which a song is converted; 0 where it fits as it is."""
    if limit is None:
        return 0.0
    size = _performed(engine, grid, prepared, 0.0).bytes
    return fit(engine, grid, prepared, size, limit).price if size > limit else 0.0


def with_price(prepared: Prepared, grid: Grid, price: float) -> tuple[Prepared, Priced]:
    """Return the problem and its costs when every change costs so much more."""
    if price == 0:
        return prepared, priced(prepared, grid)
    problem = prepared.problem
    weights = np.maximum(problem.drum_weights - price, 0.0)
    dearer = replace(prepared, problem=replace(problem, drum_weights=weights))
    costs = priced(dearer, grid)
    slots = problem.candidates
    for t, count in enumerate(problem.counts.tolist()):
        before = slots[t - 1, : costs.move1[t].shape[0]] if t else np.array([-1])
        change = price * (before[:, None] != slots[t, :count])
        costs.move1[t] = costs.move1[t] + change
        costs.move2[t] = costs.move2[t] + change
    return dearer, costs


def _performed(engine: Engine, grid: Grid, prepared: Prepared, price: float) -> Fitted:
    """Return the optimum at a price."""
    problem = prepared.problem
    optimum = solve(with_price(prepared, grid, price)[1])
    performance = perform(problem, held_in(problem, optimum), optimum.drum)
    size = song_size(engine, grid, prepared, performance)
    return Fitted(performance, optimum.cost, size, price, size)


def blame_limit(entries: tuple[Entry, ...], free: tuple[Entry, ...]) -> tuple[Entry, ...]:
    """Return the entries, with the limit as the reason of notes that were heard without it."""
    return tuple(
        entry._replace(reasons=("beyond-limit",), by=())
        if entry.outcome == "dropped" and without.outcome != "dropped"
        else entry
        for entry, without in zip(entries, free, strict=True)
    )
