"""Which part carries the tune when: roles revised by passage.

A song is cut into short stretches of equal time. In each, every part that sounds is heard with some
evidence: its score as a whole (`arranger.reduce.worth.roles`), and how much of the likely tune it has just
there. A change of part must pay for itself. The forward-backward algorithm (Rabiner, "A tutorial on
hidden Markov models", 1989, section III) gives the probability of each part at each stretch, so that
a solo that passes from flute to guitar is followed, and one stray high note is not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.reduce.worth.note_table import totals

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.reduce.worth.note_table import NoteTable

STRETCH_SECONDS = 2.0
MOST_STRETCHES = 1000
STANDING = 0.8
"""Log odds per stretch for each point of a part's score as a whole."""
PRESENT = 0.25
"""Log odds per stretch for each log odd of its likeliest notes there."""
SILENT = -4.0
"""Log odds per stretch of a part that doesn't sound in it."""
CHANGE = 3.0
"""Log odds that a change of part must overcome."""


def carrying(table: NoteTable, likely: Floats, scores: Floats) -> Floats:
    """Return for each note how probable it is that its part carries the tune where it starts.

    ``likely``: shape (notes,), 0..1: how likely each note is the tune, as if all were one part.
    ``scores``: shape (parts,): the score of each part as tune; ``-inf`` for one that can't be.
    """
    parts = len(scores)
    if np.isfinite(scores).sum() <= 1:
        return np.isfinite(scores)[table.part].astype(np.float64)
    width = max(STRETCH_SECONDS, float(table.end.max()) / MOST_STRETCHES)
    stretch = (table.onset / width).astype(np.int64)
    stretches = int(stretch.max()) + 1
    seen = STANDING * scores + _heard_there(table, likely, stretch, parts, stretches)
    found: Floats = _smoothed(seen)[stretch, table.part]
    return found


def _heard_there(
    table: NoteTable, likely: Floats, stretch: Ints, parts: int, stretches: int
) -> Floats:
    """Return the log odds of each part in each stretch from its notes there; (stretches, parts).

    The mean likelihood of its notes by length, each counted by its likelihood, so that the top of a
    chord speaks for the part and not the rest of it.
    """
    cell = stretch * parts + table.part
    size = stretches * parts
    length = np.where(table.tonal, np.clip(table.duration, 0.02, 2.0), 0.0)
    weight = length * (likely + 0.01)
    total = totals(cell, weight, size)
    mean = totals(cell, weight * likely, size) / np.maximum(total, 1e-9)
    mean = np.clip(mean, 0.05, 0.95)
    seen = np.where(total > 0, PRESENT * np.log(mean / (1.0 - mean)), SILENT)
    return seen.reshape(stretches, parts)


def _smoothed(seen: Floats) -> Floats:
    """Return the probability of each part in each stretch, given all stretches."""
    stretches, parts = seen.shape
    here = np.exp(seen - seen.max(axis=1, keepdims=True))
    change = np.exp(-CHANGE) / max(parts - 1, 1)
    stay = 1.0 - change * (parts - 1) - change
    forward = np.empty_like(here)
    backward = np.ones_like(here)
    state = np.full(parts, 1.0 / parts)
    for index in range(stretches):
        state = (stay * state + change * state.sum()) * here[index]
        state /= state.sum()
        forward[index] = state
    state = np.ones(parts)
    for index in range(stretches - 1, 0, -1):
        state = state * here[index]
        state = stay * state + change * state.sum()
        state /= state.sum()
        backward[index - 1] = state
    both: Floats = forward * backward
    both /= both.sum(axis=1, keepdims=True)
    return both
