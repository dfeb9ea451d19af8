"""Parts that copy another one: beside it (doubling, chorus) or after it (echo).

A copy has nearly all its notes from the other part, at one distance in time and at the same pitch or
in another octave. An echo is heard as the sound of the part that it copies, not as a line.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import median, order_of
from arranger.song.time import TOGETHER_SECONDS

if TYPE_CHECKING:
    from arranger.columns import Bools, Ints
    from arranger.reduce.worth.note_table import NoteTable

LATEST_SECONDS = 0.8
"""An echo comes at most so long after its note: later ones are canons, which are music."""
FROM_ANOTHER = 0.8
"""A copy has at least this share of its notes from the other part."""
FEWEST_NOTES = 8
SEMITONES_ASTRAY = 2.5
"""The mean pitches may differ by so much, for the notes that are not copied."""
MOST_PARTS = 48
"""Only so many parts are compared, those with the most notes."""
PANNED_APART = 40
"""Pan values (0..127) that differ by so much are on two sides."""


class Copy(NamedTuple):
    """One part that copies another."""

    part: int
    of: int
    delay: float
    """In seconds; below `TOGETHER_SECONDS` it is a doubling."""
    octaves: int
    notes: Ints
    """Ids of the notes that are copied; shape (copied,)."""
    originals: Ints
    """Ids of the notes that they are copied from."""

    @property
    def is_echo(self) -> bool:
        """Whether it comes after the part that it copies."""
        return self.delay > TOGETHER_SECONDS


def find_copies(table: NoteTable, parts: int) -> list[Copy]:
    """Return the parts that copy another, each at most once; of a doubling the later part in order."""
    tonal = np.flatnonzero(table.tonal)
    if parts < 2 or not len(tonal):
        return []
    order = tonal[order_of(table.onset[tonal], table.part[tonal])]
    bounds = np.searchsorted(table.part[order], np.arange(parts + 1))
    members = {i: order[bounds[i] : bounds[i + 1]] for i in range(parts)}
    busy = [i for i in members if len(members[i]) >= FEWEST_NOTES]
    busy = sorted(sorted(busy, key=lambda i: -len(members[i]))[:MOST_PARTS])
    found: dict[int, Copy] = {}
    for first, second in combinations(busy, 2):
        for part, of in ((second, first), (first, second)):
            if part in found or of in found:
                continue
            copy = _copy(table, part, of, members[part], members[of])
            if copy is not None:
                found[part] = copy
    return [found[part] for part in sorted(found)]


def _copy(table: NoteTable, part: int, of: int, ids: Ints, others: Ints) -> Copy | None:
    """Return how one part copies the other, or None."""
    if len(others) < FROM_ANOTHER * len(ids):
        return None
    apart = float(table.pitch[ids].mean() - table.pitch[others].mean())
    octaves = round(apart / 12.0)
    if abs(apart - 12 * octaves) > SEMITONES_ASTRAY:
        return None
    matched = _matched(table, ids, others, octaves)
    if matched is None:
        return None
    delay, hit, source = matched
    return Copy(part, of, delay, octaves, ids[hit], source[hit])


def _matched(
    table: NoteTable, ids: Ints, others: Ints, octaves: int
) -> tuple[float, Bools, Ints] | None:
    """Return the delay, which notes are copied, and a likely original of each; None for no copy.

    Notes of one pitch are looked up on a line of their own: pitch times a length that is beyond all
    onsets, plus the onset.
    """
    beyond = float(table.onset[-1]) + 10.0
    theirs = (table.pitch[others] + 12 * octaves) * beyond + table.onset[others]
    order = np.argsort(theirs)
    line = theirs[order]
    ours = table.pitch[ids] * beyond + table.onset[ids]
    some = ours[:: max(len(ours) // 64, 1)]
    low = np.searchsorted(line, some - LATEST_SECONDS)
    high = np.searchsorted(line, some + TOGETHER_SECONDS)
    if np.mean(high > low) < FROM_ANOTHER:
        return None
    delays = np.concatenate([s - line[a:b] for s, a, b in zip(some, low, high, strict=True)])
    counts = np.bincount(np.round((delays + TOGETHER_SECONDS) / 0.02).astype(np.int64))
    counts = counts + np.append(counts[1:], 0)
    best = int(counts.argmax())
    delay = float(median(delays[np.abs(delays + TOGETHER_SECONDS - 0.02 * (best + 0.5)) <= 0.03]))
    place = np.searchsorted(line, ours - delay)
    before, after = np.clip(place - 1, 0, None), np.clip(place, None, len(line) - 1)
    nearer = np.where(
        np.abs(line[after] - ours + delay) < np.abs(line[before] - ours + delay), after, before
    )
    hit = np.abs(line[nearer] - ours + delay) <= TOGETHER_SECONDS
    if hit.mean() < FROM_ANOTHER:
        return None
    return max(delay, 0.0), hit, others[order][nearer]
