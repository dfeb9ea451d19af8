"""The song's notes as columns, and which note is heard on top at each moment.

Conventions
-----------
- Times are seconds by the song's own tempo map: what a listener hears, whether or not the file
  follows its beat grid.
- A **moment** is a time at which a note starts or ends; between two moments nothing changes. A note
  covers the moments ``start`` (inclusive) to ``stop`` (exclusive), at least one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import distinct, order_of
from arranger.song.time import seconds_at

if TYPE_CHECKING:
    from collections.abc import Collection

    from arranger.columns import Bools, Floats, Ints
    from arranger.song.model import Song


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoteTable:
    """Arrays of shape (notes,), in the order of ``Song.notes``; moments have their own length."""

    part: Ints
    pitch: Ints
    loudness: Floats
    """0..1."""
    tonal: Bools
    """False for drums and for notes of muted parts: they are left out of all that is measured."""
    onset: Floats
    """In seconds."""
    end: Floats
    """In seconds; equal to the onset for a note of no length."""
    start: Ints
    """Index of the moment at which the note starts."""
    stop: Ints
    """Index after the last moment that it covers."""
    moment_seconds: Floats
    """Shape (moments,): how long each moment lasts; the last lasts 0."""

    @property
    def duration(self) -> Floats:
        """In seconds."""
        return self.end - self.onset


def note_table(song: Song, muted: Collection[int] = ()) -> NoteTable:
    """Return the song's notes as columns. The song must have at least one note.

    ``muted``: indices of the parts that are not to be heard.
    """
    notes = song.columns
    onset_ticks, end_ticks = notes.onset, notes.end
    moments = distinct(np.concatenate((onset_ticks, end_ticks)))
    start = np.searchsorted(moments, onset_ticks)
    stop = np.maximum(np.searchsorted(moments, end_ticks), start + 1)
    seconds = seconds_at(song, moments)
    tonal = ~notes.drum
    if muted:
        tonal &= ~np.isin(notes.part, list(muted))
    return NoteTable(
        part=notes.part,
        pitch=notes.pitch,
        loudness=notes.loudness,
        tonal=tonal,
        onset=seconds[start],
        end=seconds[np.searchsorted(moments, end_ticks)],
        start=start,
        stop=stop,
        moment_seconds=np.append(np.diff(seconds), 0.0),
    )


def within_parts(table: NoteTable) -> NoteTable:
    """Return the same notes on a line of moments of its own for each part.

    What is on top at each of these moments is on top within its part.
    """
    many = len(table.moment_seconds) + 1
    keys = np.concatenate((table.part * many + table.start, table.part * many + table.stop))
    moments, place = np.unique(keys, return_inverse=True)
    part, moment = np.divmod(moments, many)
    at = np.append(0.0, np.cumsum(table.moment_seconds))[moment]
    lasts = np.append(np.diff(at) * (np.diff(part) == 0), 0.0)
    start, stop = np.split(place, 2)
    return replace(table, start=start, stop=stop, moment_seconds=lasts)


def totals(index: Ints, weights: Floats, size: int) -> Floats:
    """Return the sum of the weights at each index below ``size``."""
    return np.bincount(index, weights=weights, minlength=size).astype(np.float64)


def cover(start: Ints, stop: Ints, rank: Ints, size: int) -> Ints:
    """Return for each of ``size`` moments the highest rank of the spans that cover it, or -1.

    Parameters
    ----------
    start, stop
        Shape (spans,): each span covers ``start <= moment < stop``; none is empty.
    rank
        Shape (spans,), not negative.

    Notes
    -----
    A span is the union of two overlapping blocks whose length is a power of two. The maxima are
    entered at that level and handed down, level by level: O(spans + size log size).
    """
    heard = np.full(size, -1, dtype=np.int64)
    if not len(start):
        return heard
    level = np.frexp((stop - start).astype(np.float64))[1] - 1
    order = order_of(level)
    bounds = np.searchsorted(level[order], np.arange(level.max() + 2))
    for power in range(int(level.max()), -1, -1):
        block = 1 << power
        here = order[bounds[power] : bounds[power + 1]]
        np.maximum.at(heard, start[here], rank[here])
        np.maximum.at(heard, stop[here] - block, rank[here])
        if power:
            handed = heard.copy()
            half = block >> 1
            np.maximum(handed[half:], heard[: size - half], out=handed[half:])
            heard = handed
    return heard


def note_on_top(table: NoteTable, score: Floats | Ints) -> Ints:
    """Return for each moment the index of the tonal note that sounds with the highest score, or -1.

    Of notes with equal scores the later one in the file wins.
    """
    order = order_of(score)
    order = order[table.tonal[order]]
    rank = np.arange(len(order))
    heard = cover(table.start[order], table.stop[order], rank, len(table.moment_seconds))
    return np.where(heard < 0, -1, order[heard] if len(order) else -1)


def heard_share(table: NoteTable, top: Ints) -> Floats:
    """Return for each note the share of its time in which it is the one in ``top``; shape (notes,).

    ``top``: shape (moments,): what `note_on_top` returned.
    """
    found = top >= 0
    seconds = totals(top[found], table.moment_seconds[found], len(table.pitch))
    share: Floats = seconds / np.maximum(table.duration, 1e-9)
    return share
