"""Where the tune takes breath, and who answers it.

A **breath** is a run of steps between two tones of the tune on which no tone of the tune sounds. A part
**answers** in it if it starts two tones or more there: then they are a phrase. A single tone of another
part between two tones of the tune sounds like a fault, so voice 1 gains nothing by it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import distinct
from arranger.reduce.choose.candidates import IN_LINE

if TYPE_CHECKING:
    from arranger.columns import Bools, Ints
    from arranger.reduce.choose.candidates import ChoiceProblem

LONGEST_BREATH = 4.0
"""Beats; in a longer one the tune rests, and a single tone of another part may fill it."""

ANSWER = 2
"""Tones on different steps that make a phrase."""


def scraps(problem: ChoiceProblem) -> Bools:
    """Return which slots hold what is no tune in a breath that its part doesn't answer; (T, K)."""
    tones, slots, breath = problem.tones, problem.candidates, breaths(problem)
    parts, span = int(tones.part.max(initial=0)) + 1, problem.steps
    there = breath[np.searchsorted(problem.starts, tones.onset)] * parts + tones.part
    begun = distinct((there * span + tones.onset)[there >= 0]) // span
    counts = np.bincount(begun, minlength=(int(breath.max(initial=0)) + 1) * parts)
    other = (breath >= 0)[:, None] & (np.append(tones.tune, 1.0)[slots] < IN_LINE)
    of_slot = breath[:, None] * parts + np.append(tones.part, 0)[slots]
    found: Bools = other & (counts[of_slot] < ANSWER)  # outside breaths it counts from the end
    return found


def breaths(problem: ChoiceProblem) -> Ints:
    """Return for each segment the number of the breath that it lies in, or -1; shape (T,)."""
    tones, starts = problem.tones, problem.starts
    tune = tones.tune >= IN_LINE
    change = np.zeros(len(starts) + 1, dtype=np.int64)
    np.add.at(change, np.searchsorted(starts, tones.onset[tune]), 1)
    np.add.at(change, np.searchsorted(starts, tones.end[tune]), -1)
    silent = np.cumsum(change[:-1]) == 0
    run = np.cumsum(np.diff(silent, prepend=False))  # odd ones are silent
    lengths = np.bincount(run, weights=problem.lengths)
    breath = lengths <= LONGEST_BREATH * problem.steps_per_beat
    breath[[int(silent[0]), -1]] = (
        False  # the first and the last don't lie between tones of the tune
    )
    return np.where(silent & breath[run], run, -1)
