"""What speaks for a beat at an attack: one column a kind of evidence.

Every column is at least 0 and summed to 1 over the song, so that the share of a column which falls
on the beats of a hypothesis can be compared between songs.

============  =========================================================================
column        an attack has much of it when
============  =========================================================================
`notes`       many notes start
`loud`        they are loud, against the attacks around
`low`         its lowest note lies below the lowest notes of the attacks around
`long`        its longest note lasts long
`space`       nothing starts for a while after it
`novel`       the pitch classes after it differ from those before: the chord changes
`bass`        a low note starts whose pitch class differs from the low note before it
`drum`        a drum that carries the metre is struck (bass drum more than others)
============  =========================================================================
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import median

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.attacks import Attacks
    from arranger.song.notes import TimedColumns

COLUMNS = ("notes", "loud", "low", "long", "space", "novel", "bass", "drum")

STRENGTH = (0.5, 0.5, 1.0, 1.0, 0.5, 0.7, 1.0, 0.5)
"""What each column counts in the strength of an attack."""
STRONGEST = 4.0
"""No attack counts more than so many average ones in a column."""

AROUND = 16
"""Attacks looked at on either side."""
LONGEST_SECONDS = 2.0
NOVEL_SECONDS = (0.4, 0.8)
KICKS = (35, 36)


class AttackEvidence(NamedTuple):
    """Attacks in order of time."""

    seconds: Floats
    """Shape (attacks,)."""
    columns: Floats
    """Shape (len(COLUMNS), attacks); each row sums to 1, or is all 0 if the song has none."""

    @property
    def strength(self) -> Floats:
        """What speaks for a beat on each attack, all taken together; mean 1, shape (attacks,)."""
        relative = np.minimum(self.columns * len(self.seconds), STRONGEST)
        total = np.array(STRENGTH) @ relative
        result: Floats = total / total.mean()
        return result


def find_evidence(notes: TimedColumns, attacks: Attacks) -> AttackEvidence:
    """Return what speaks for a beat at each attack of a song."""
    of, count = attacks.of_note, attacks.count
    seconds = attacks.mean(notes.onset_seconds)
    pitched = ~notes.drum
    number = np.bincount(of, minlength=count).astype(np.float64)
    loud = np.bincount(of, notes.loudness**2, count)
    length = np.minimum(notes.end_seconds - notes.onset_seconds, LONGEST_SECONDS)
    longest = _extreme(of[pitched], length[pitched], count, 0.0)
    lowest = -_extreme(of[pitched], -notes.pitch[pitched].astype(np.float64), count, -127.0)
    around = np.lib.stride_tricks.sliding_window_view(
        np.pad(lowest, AROUND, mode="edge"), 2 * AROUND + 1
    )
    below = np.clip((median(around) - lowest) / 12.0, 0.0, 2.0)
    gaps = np.diff(seconds, append=seconds[-1] + 0.5) if count else seconds
    # Compared with the attacks around it, so that a loud refrain doesn't outweigh all verses.
    loud_around = np.lib.stride_tricks.sliding_window_view(
        np.pad(loud, AROUND, mode="edge"), 2 * AROUND + 1
    ).mean(axis=1)
    drums = np.where(np.isin(notes.pitch, KICKS), 1.0, 0.3) * notes.loudness * notes.drum
    rows = (
        number,
        loud / np.maximum(loud_around, 1e-9),
        below,
        longest,
        np.minimum(gaps, 1.0),
        _novelty(notes, seconds),
        _bass_changes(lowest, below),
        np.bincount(of, drums, count),
    )
    columns = np.stack(rows)
    total = columns.sum(axis=1, keepdims=True)
    return AttackEvidence(seconds=seconds, columns=columns / np.maximum(total, 1e-9))


def _extreme(of: Ints, values: Floats, count: int, lowest: float) -> Floats:
    result = np.full(count, lowest)
    np.maximum.at(result, of, values)
    return result


def _novelty(notes: TimedColumns, seconds: Floats) -> Floats:
    """Return one minus the likeness (cosine) of the pitch classes before and after each attack."""
    weight = np.clip(notes.end_seconds - notes.onset_seconds, 0.05, 1.0) * ~notes.drum
    order = np.argsort(notes.onset_seconds, kind="stable")
    classes = np.zeros((len(notes) + 1, 12))
    classes[np.arange(1, len(notes) + 1), notes.pitch[order] % 12] = weight[order]
    summed = np.cumsum(classes, axis=0)
    onsets = notes.onset_seconds[order]

    def until(at: Floats) -> Floats:
        found: Floats = summed[np.searchsorted(onsets, at)]
        return found

    total = np.zeros(len(seconds))
    middle = until(seconds - 0.05)
    for width in NOVEL_SECONDS:
        before = middle - until(seconds - 0.05 - width)
        after = until(seconds - 0.05 + width) - middle
        size = np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1)
        total += 1.0 - np.einsum("ij,ij->i", before, after) / np.maximum(size, 1e-9)
    return np.clip(total, 0.0, None)


def _bass_changes(lowest: Floats, below: Floats) -> Floats:
    is_bass = np.flatnonzero(below > 0.25)
    changes = np.zeros(len(lowest))
    classes = lowest[is_bass] % 12
    changes[is_bass] = 0.3 + 0.7 * (np.diff(classes, prepend=np.nan) != 0)
    return changes
