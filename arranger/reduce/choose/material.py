"""What the parts are made of: chords or lines, bar by bar.

A part has a **chord** where it sounds two pitch classes or more beside the tune, and not only a fifth,
which is among the overtones of its lower tone.
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

from arranger.columns import distinct
from arranger.reduce.choose.candidates import IN_LINE
from arranger.reduce.model import TexturePassage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.columns import Bools, Floats, Ints
    from arranger.grid.model import Grid
    from arranger.reduce.place.placed import Placed
    from arranger.reduce.worth.weights import Weights
    from arranger.song.model import Song

MOST_OF_BAR = 0.6
"""Share of a bar's time from which chords speak for breaking them."""

EVIDENCE = 4.0
"""What a bar says for each unit that it is above or below that."""

SOUND_EFFECTS = 120
"""The first of the General MIDI programs (level 1) for them, which are the last ones."""

LINE = 0.1
"""Share of its time with chords up to which a part is a line."""

OFTEN = 0.3
"""...from which they count as chords: a part with fewer is a line that has double stops."""

CHANGE = 6.0
"""What going over from chords to lines or back costs."""


class Runs(NamedTuple):
    """Steps in a row in which something sounds; each of shape (runs,)."""

    key: Ints
    """What sounds."""
    first: Ints
    after: Ints


class Material(NamedTuple):
    """What sounds in the bars."""

    shares: Floats
    """Shape (bars,): of a bar's time in which some part has a chord."""
    chords: Runs
    """Where each part has chords."""
    lines: Bools
    """Shape (parts,): whether a part moves by itself, and not as the bass."""


def material_of(song: Song, placed: Placed, weights: Weights, grid: Grid) -> Material:
    """Return what sounds in the bars.

    ``song``: its parts; sound effects have no chords.
    ``placed``, ``weights``: of all notes.
    ``grid``: bars and steps.
    """
    tonal = np.array([part.program < SOUND_EFFECTS for part in song.parts], dtype=np.bool_)
    mine = placed.usable & ~placed.drum & (weights.tune < IN_LINE)
    ids = np.flatnonzero(mine & tonal[placed.part])
    part, onset = placed.part[ids], placed.onset[ids]
    at, pitch_class = (part * (grid.steps + 1) + onset) * 12, placed.pitch[ids] % 12
    below, there = (pitch_class - 7) % 12, distinct(at + pitch_class)
    found = there[np.searchsorted(there[:-1], at + below)] if len(there) else there
    pitch_class = np.where(found == at + below, below, pitch_class)
    sounding = _runs(Runs(part * 12 + pitch_class, onset, placed.end[ids]), 1)
    by_part = sounding._replace(key=sounding.key // 12)
    chords = _runs(by_part, 2)
    time, together = (
        np.bincount(runs.key, runs.after - runs.first, minlength=len(weights.roles))
        for runs in (_runs(by_part, 1), chords)
    )
    bass = np.array([role.role == "bass" for role in weights.roles], dtype=np.bool_)
    lines = ~bass & (time > 0) & (together <= LINE * time)
    chords = Runs(*(column[(together >= OFTEN * time)[chords.key]] for column in chords))
    return Material(_by_bar(chords, grid), chords, lines)


def _runs(sounds: Runs, least: int) -> Runs:
    """Return where so many with one key sound at once."""
    span = int(sounds.after.max(initial=0)) + 1
    ends = np.concatenate([sounds.key * span + steps for steps in (sounds.first, sounds.after)])
    edges = distinct(ends)
    place = np.searchsorted(edges, ends)
    change = np.repeat((1, -1), len(sounds.key))
    enough = np.cumsum(np.bincount(place, change, minlength=len(edges))) >= least
    first = edges[enough & ~np.append(False, enough[:-1])]
    after = edges[~enough & np.append(False, enough[:-1])]
    return Runs(first // span, first % span, after % span)


def _by_bar(chords: Runs, grid: Grid) -> Floats:
    """Return the shares of `Material`, from where parts have chords."""
    starts = np.array([bar.first_step for bar in grid.bars])
    change = np.zeros(grid.steps + 1, dtype=np.int64)
    np.add.at(change, chords.first, 1)
    np.add.at(change, chords.after, -1)
    time = np.add.reduceat(np.cumsum(change)[:-1] > 0, starts, dtype=np.int64)
    return time / np.diff(starts, append=grid.steps)


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
) -> tuple[TexturePassage, ...]:
    """Return the bars of each texture in a row.

    ``names``: shape (bars,): textures.
    ``asked``: shape (bars,): whether the user chose them.
    """
    found = []
    rows = zip(names.tolist(), asked.tolist(), range(len(names)), strict=True)
    chords = material.chords
    for (name, was_asked), group in groupby(rows, key=lambda row: row[:2]):
        bars = [index for *_, index in group]
        first, last = grid.bars[bars[0]], grid.bars[bars[-1]]
        after = np.minimum(chords.after, last.first_step + last.steps)
        time = np.maximum(after - np.maximum(chords.first, first.first_step), 0)
        by_part = np.bincount(chords.key, time)
        found.append(
            TexturePassage(
                texture=name,
                first_bar=first.number,
                last_bar=last.number,
                asked=was_asked,
                chords=float(material.shares[bars[0] : bars[-1] + 1].mean()),
                part=int(by_part.argmax()) if by_part.any() else -1,
            )
        )
    return tuple(found)
