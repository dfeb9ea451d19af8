"""Lines that ring: parts that play one note after the other while a pedal keeps the earlier ones.

Such a part is a line, not a chord: a listener follows its newest note. So its notes are taken to end
where its next one starts, both when they are weighed and when voices are allocated. Parts whose
notes often start together (keyboards, strummed chords) are left as they are.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import order_of
from arranger.song.model import Notes

if TYPE_CHECKING:
    from arranger.columns import Ints
    from arranger.song.model import Song

TOGETHER = 1 / 16
"""Beats between two onsets that count as one."""

MOST_TOGETHER = 0.05
"""Share of its notes that may start with another, for a part to be a line."""

OVERLAP = 1 / 8
"""Beats by which a note must go on under the next to count as ringing: players join notes."""

LEAST_RINGING = 0.3
"""Share of its notes that ring, from which a part is taken to ring."""


def without_ring(song: Song) -> Song:
    """Return the song with the notes of ringing lines ended where the next of their part starts."""
    columns = song.columns
    ids = np.flatnonzero(~columns.drum)
    if not len(ids):
        return song
    ids = ids[order_of(columns.onset[ids], columns.part[ids])]
    part, onset, end = columns.part[ids], columns.onset[ids], columns.end[ids]

    followed = np.append(part[1:] == part[:-1], False)
    after = np.append(onset[1:], 0)
    together = followed & (after - onset <= TOGETHER * song.ticks_per_beat)
    rings = followed & ~together & (end - after > OVERLAP * song.ticks_per_beat)
    parts = len(song.parts)
    notes = np.bincount(part, minlength=parts)
    is_line = np.bincount(part[together], minlength=parts) <= MOST_TOGETHER * notes
    is_line &= np.bincount(part[rings], minlength=parts) >= LEAST_RINGING * notes
    cut = rings & is_line[part]
    if not cut.any():
        return song
    duration = columns.duration.copy()
    duration[ids[cut]] = (after - onset)[cut]
    rings = np.maximum(columns.rings - (columns.duration - duration), 0)
    return replace(song, notes=Notes(replace(columns, duration=duration, rings=rings)))


def end_of_ring(song: Song, lines: Song, onset: Ints, end: Ints) -> Ints:
    """Return where the notes end in steps, those that were cut where their part goes on.

    ``song``, ``lines``: the song before and after `without_ring`.
    ``onset``, ``end``: shape (notes,): in steps.
    """
    cut = song.columns.duration != lines.columns.duration
    part = song.columns.part
    in_order = order_of(onset, part)
    # the next note of the part, in order of onset; several on one step count as one
    span = int(onset.max(initial=0)) + 2
    keys = part * span + onset
    place = np.searchsorted(keys[in_order], keys, side="right")
    after = np.append(keys[in_order], np.iinfo(np.int64).max)[place]
    follows = cut & (after // span == part)
    return np.where(follows, np.maximum(np.minimum(end, after % span), onset + 1), end)
