"""Attacks: onsets that are meant together, taken together before anything is rounded.

Notes of one chord rarely start on the same tick once a person has played them; a roll, a flam or a
grace note spreads them further. Rounded one by one they would land on neighbouring steps. So onsets
that follow each other within `TOGETHER_SECONDS` make one **attack**, up to `SPAN_SECONDS` from first to
last, unless one part plays them as a run (the earlier note has ended, and is no grace note).

An attack stands where its weightiest notes stand: the mean of the onsets, weighted by length and
the square of loudness, so that a grace note or the first stroke of a flam hardly moves it.

The two spans are ours. From memory: asynchronies within played chords are mostly below 30 ms, and
tones less than about 30 ms apart are heard as one attack.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import order_of
from arranger.song.time import TOGETHER_SECONDS

if TYPE_CHECKING:
    from arranger.columns import Bools, Floats, Ints
    from arranger.song.notes import TimedColumns

SPAN_SECONDS = 0.140
GRACE_SECONDS = 0.090
"""A note this short, straight before one at least three times as long, is a grace note."""
WEIGHT_SECONDS = 0.25
"""Length beyond this adds no weight."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Attacks:
    """Which notes start together, and how much each counts in saying where."""

    of_note: Ints
    """Shape (notes,): the index of each note's attack; attacks are numbered by time."""
    weight: Floats
    """Shape (notes,): > 0."""
    count: int

    def mean(self, values: Floats) -> Floats:
        """Return the weighted mean of a column over each attack, shape (attacks,)."""
        total = np.bincount(self.of_note, self.weight * values, self.count)
        result: Floats = total / np.bincount(self.of_note, self.weight, self.count)
        return result


def find_attacks(notes: TimedColumns) -> Attacks:
    """Group the onsets of a song into attacks."""
    length = np.clip(notes.end_seconds - notes.onset_seconds, 0.01, WEIGHT_SECONDS)
    weight = length * (0.1 + notes.loudness) ** 2
    if len(notes) == 0:
        return Attacks(of_note=np.zeros(0, np.int64), weight=weight, count=0)
    ticks, first, tick_of = np.unique(notes.onset, return_index=True, return_inverse=True)
    seconds = notes.onset_seconds[first]
    starts = np.ones(len(ticks), dtype=np.bool_)
    starts[1:] = np.diff(seconds) > TOGETHER_SECONDS
    if not starts.all():
        _split_runs(notes, tick_of, starts)
        _split_long(seconds, starts)
    attack_of_tick = np.cumsum(starts) - 1
    return Attacks(
        of_note=attack_of_tick[tick_of], weight=weight, count=int(attack_of_tick[-1]) + 1
    )


def _split_runs(notes: TimedColumns, tick_of: Ints, starts: Bools) -> None:
    """Mark a start where a part plays one note straight after another."""
    order = order_of(tick_of, notes.part)
    before, after = order[:-1], order[1:]
    near = (notes.part[before] == notes.part[after]) & (tick_of[before] != tick_of[after])
    near &= ~starts[tick_of[after]]
    before, after = before[near], after[near]
    length_before = notes.end_seconds[before] - notes.onset_seconds[before]
    length_after = notes.end_seconds[after] - notes.onset_seconds[after]
    ended = notes.end[before] <= notes.onset[after]
    grace = (length_before < GRACE_SECONDS) & (length_after >= 3 * length_before)
    drum = notes.drum[after]
    starts[tick_of[after[ended & ~grace & ~drum]]] = True


def _split_long(seconds: Floats, starts: Bools) -> None:
    """Mark a start where a chain of near onsets has become too long."""
    first = np.flatnonzero(starts)
    last = np.append(first[1:], len(seconds)) - 1
    for begin, end in zip(first, last, strict=True):
        if seconds[end] - seconds[begin] > SPAN_SECONDS:
            reference = seconds[begin]
            for index in range(begin + 1, end + 1):
                if seconds[index] - reference > SPAN_SECONDS:
                    starts[index] = True
                    reference = seconds[index]
