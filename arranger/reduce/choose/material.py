"""What the parts are made of: chords or lines, bar by bar.

A part has a **chord** where it sounds two pitches or more beside the tune, octaves and doubles aside.
Where chords sound for most of the time (block, strummed or held ones, and broken ones that a pedal
holds together) voice 2 can only be just to them by turns; where each part moves by itself, two of the
lines are the better choice. A change must pay for itself, so that a passage lasts: the likeliest way
through two states, chords and lines (Viterbi's algorithm; L. Rabiner, "A tutorial on hidden Markov
models", 1989, section III).
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.reduce.model import Passage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.columns import Bools, Floats, Ints
    from arranger.grid.model import Grid
    from arranger.reduce.place.placed import Placed
    from arranger.reduce.worth.weights import Weights

IN_TUNE = 0.5
"""Tune weight from which a note is no part of a chord."""

MOST_OF_BAR = 0.6
"""Share of a bar's time from which chords speak for breaking them."""

EVIDENCE = 4.0
"""What a bar says for each unit that it is above or below that."""

LINE = 0.1
"""Time with chords, as a share of that without, up to which a part is a line."""

CHANGE = 6.0
"""What going over from chords to lines or back costs."""


class Material(NamedTuple):
    """What sounds in the bars."""

    shares: Floats
    """Shape (bars,): of a bar's time in which some part has a chord."""
    parts: Ints
    """Shape (bars,): the part that has chords for longest, or -1."""
    lines: Bools
    """Shape (parts,): whether a part moves by itself, and not as the bass."""


def material_of(placed: Placed, weights: Weights, grid: Grid) -> Material:
    """Return what sounds in the bars.

    Parameters
    ----------
    placed, weights
        Of all notes.
    grid
        Bars and steps.
    """
    alone = (weights.octave_of < 0) & (weights.duplicate_of < 0) & (weights.tune < IN_TUNE)
    ids = np.flatnonzero(placed.usable & ~placed.drum & alone)
    span = grid.steps + 1
    on, off = (placed.part[ids] * span + steps[ids] for steps in (placed.onset, placed.end))
    edges, place = np.unique(np.concatenate((on, off)), return_inverse=True)
    change = np.bincount(place[: len(ids)], minlength=len(edges))
    change -= np.bincount(place[len(ids) :], minlength=len(edges))
    sounding = np.cumsum(change)
    part, lasting = edges // span, np.diff(edges, append=edges[-1:])
    single, together = (
        np.bincount(part, lasting * which, minlength=len(weights.roles))
        for which in (sounding == 1, sounding >= 2)
    )
    bass = np.array([role.role == "bass" for role in weights.roles], dtype=np.bool_)
    chords = np.flatnonzero(sounding >= 2)  # the last edge ends the last note
    first, after = edges[chords], edges[chords + 1]
    shares, parts = _by_bar(part[chords], first % span, after - part[chords] * span, grid)
    return Material(shares, parts, ~bass & (together < LINE * single))


def _by_bar(part: Ints, first: Ints, after: Ints, grid: Grid) -> tuple[Floats, Ints]:
    """Return shares and parts of `Material`, from the steps in which parts have chords."""
    starts = np.array([bar.first_step for bar in grid.bars])
    sounds = np.zeros(grid.steps + 1, dtype=np.int64)
    np.add.at(sounds, first, 1)
    np.add.at(sounds, after, -1)
    time = np.add.reduceat(np.cumsum(sounds)[:-1] > 0, starts, dtype=np.int64)
    shares = time / np.diff(starts, append=grid.steps)
    order = np.lexsort((first - after,))  # longest first
    bar = np.searchsorted(starts, first[order], side="right") - 1
    found, place = np.unique(bar, return_index=True)
    parts = np.full(len(starts), -1)
    parts[found] = part[order][place]
    return shares, parts


def chords_prevail(shares: Floats) -> Bools:
    """Return whether chords are what a bar is made of, given all bars; shape (bars,)."""
    lines, chords = 0.0, 0.0
    came: list[tuple[bool, bool]] = []
    for evidence in (EVIDENCE * (shares - MOST_OF_BAR)).tolist():
        came.append((chords - CHANGE > lines, lines - CHANGE <= chords))
        lines, chords = max(lines, chords - CHANGE), max(chords, lines - CHANGE) + evidence
    found, state = [], chords > lines
    for from_chords in came[::-1]:
        found.append(state)
        state = from_chords[state]
    return np.array(found[::-1], dtype=np.bool_)


def passages(
    names: NDArray[np.str_], asked: Bools, material: Material, grid: Grid
) -> tuple[Passage, ...]:
    """Return the bars of each texture in a row.

    Parameters
    ----------
    names
        Shape (bars,): textures.
    asked
        Shape (bars,): whether the user chose them.
    """
    found = []
    rows = zip(names.tolist(), asked.tolist(), range(len(names)), strict=True)
    for (name, was_asked), group in groupby(rows, key=lambda row: row[:2]):
        bars = [index for *_, index in group]
        here = slice(bars[0], bars[-1] + 1)
        parts = material.parts[here]
        counts = np.bincount(parts[parts >= 0], minlength=1)
        found.append(
            Passage(
                texture=name,
                first_bar=grid.bars[bars[0]].number,
                last_bar=grid.bars[bars[-1]].number,
                asked=was_asked,
                chords=float(material.shares[here].mean()),
                part=int(counts.argmax()) if counts.any() else -1,
            )
        )
    return tuple(found)
