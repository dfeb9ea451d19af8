"""Folding: pitches outside the engine's table move by octaves, keeping the line's contour.

Where a part leaves the table, a small dynamic programme chooses an octave shift for each of its
chords (notes that start together move together): shifting costs `SHIFT` a note and octave, and a
change of shift breaks the contour, which costs `BREAK` an octave, or `BREAK_AT_REST` where the part
rests for a beat or more. So a phrase that crosses the edge moves as a whole when it is short, and a
single high note in a long phrase moves alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import distinct, order_of
from arranger.engine.tuning import folded

if TYPE_CHECKING:
    from arranger.columns import Bools, Floats, Ints
    from arranger.engine.model import Engine

UNPLAYABLE = -1

SHIFT = 0.3
BREAK = 2.0
BREAK_AT_REST = 0.3


def fold(
    pitches: Ints, part: Ints, onset: Ints, end: Ints, *, steps_per_beat: float, engine: Engine
) -> Ints:
    """Return each pitch in an octave that the table has, or `UNPLAYABLE`.

    ``pitches``: shape (n,): MIDI numbers after transposition, possibly outside 0..127.
    ``part``, ``onset``, ``end``: shape (n,): which line each note belongs to, and where it stands
    in steps.
    ``steps_per_beat``: steps in a quarter note.
    ``engine``: whose table counts.
    """
    if not len(pitches):
        return pitches.copy()
    low, high = int(pitches.min()), int(pitches.max())
    nearest = np.array([_nearest(p, engine) for p in range(low, high + 1)], dtype=np.int64)
    found = nearest[pitches - low]
    moved = (found != pitches) & (found != UNPLAYABLE)
    for index in distinct(part[moved]).tolist():
        line = np.flatnonzero((part == index) & (found != UNPLAYABLE))
        line = line[order_of(pitches[line], onset[line])]
        rests = _after_rest(onset[line], end[line], steps_per_beat)
        found[line] = pitches[line] + 12 * _shifts(pitches[line], onset[line], rests, engine)
    return found


def _nearest(pitch: int, engine: Engine) -> int:
    found = folded(engine, pitch)
    return UNPLAYABLE if found is None else found


def _after_rest(onset: Ints, end: Ints, steps_per_beat: float) -> Bools:
    """Return for each note, in order of onset, whether its part rested before it."""
    reached = np.maximum.accumulate(end)
    rested: Bools = np.append(True, onset[1:] - reached[:-1] >= steps_per_beat)
    return rested


def _shifts(pitches: Ints, onset: Ints, rests: Bools, engine: Engine) -> Ints:
    """Return the octaves that each note of a line moves by."""
    widest = 1 + max(
        abs(_nearest(p, engine) - p) // 12 for p in (int(pitches.min()), int(pitches.max()))
    )
    choices = np.arange(-widest, widest + 1)
    allowed = np.isin(pitches[:, None] + 12 * choices, list(engine.pitches))
    first = np.flatnonzero(np.diff(onset, prepend=onset[0] - 1))
    together = np.logical_and.reduceat(allowed, first, axis=0)
    if not together.any(axis=1).all():
        # a chord wider than the table: its notes move one by one
        first = np.arange(len(pitches))
        together = allowed
    notes = np.diff(first, append=len(pitches))
    own = np.where(together, SHIFT * np.abs(choices) * notes[:, None], np.inf)
    change = np.abs(choices[:, None] - choices).astype(np.float64)
    best = _cheapest(own, change, np.where(rests[first], BREAK_AT_REST, BREAK))
    return np.repeat(choices[best], notes)


def _cheapest(own: Floats, change: Floats, price: Floats) -> Ints:
    """Return the cheapest choice of each chord: own costs plus the priced changes between them."""
    reached = own[0]
    came_from = []
    for t in range(1, len(own)):
        ways = reached[:, None] + price[t] * change
        came_from.append(ways.argmin(axis=0))
        reached = ways.min(axis=0) + own[t]
    path = [int(reached.argmin())]
    for pointers in reversed(came_from):
        path.append(int(pointers[path[-1]]))
    return np.array(path[::-1], dtype=np.int64)
