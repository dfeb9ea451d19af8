"""Ticks to seconds and ticks to bars, from a song's tempo and metre maps.

A tick lasts ``microseconds_per_beat / ticks_per_beat`` microseconds (Standard MIDI File 1.0, Set
Tempo). A bar is ``numerator`` notes of length ``1/denominator``, so ``4 * numerator / denominator``
beats; a metre change inside a bar ends that bar early.
"""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.song.notes import TimedColumns

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from arranger.columns import Floats, Ints
    from arranger.song.model import Song


TOGETHER_SECONDS = 0.035
"""Onsets nearer than this are heard as one (common practice, no source: 30 to 50 ms)."""


class Bar(NamedTuple):
    """One bar of the song. Bars are numbered from 1."""

    number: int
    start: int
    """In ticks."""
    end: int
    """In ticks, exclusive."""
    numerator: int
    denominator: int


def seconds_at(song: Song, ticks: ArrayLike) -> Floats:
    """Return the time in seconds of each tick (any shape), by the song's tempo map."""
    asked = np.asarray(ticks, dtype=np.float64)
    starts, per_tick = _tempo_map(song)
    at_start = np.concatenate(([0.0], np.cumsum(np.diff(starts) * per_tick[:-1])))
    index = np.clip(np.searchsorted(starts, asked, side="right") - 1, 0, None)
    result: Floats = at_start[index] + (asked - starts[index]) * per_tick[index]
    return result


def _tempo_map(song: Song) -> tuple[Floats, Floats]:
    """Return the tick on which each tempo starts, and for how many seconds a tick lasts then."""
    starts = np.array([change.tick for change in song.tempos], dtype=np.float64)
    beats = np.array([change.microseconds_per_beat for change in song.tempos], dtype=np.float64)
    return starts, beats * (1e-6 / song.ticks_per_beat)


def ticks_at(song: Song, seconds: Floats) -> Ints:
    """Return the nearest tick of each time, by the song's tempo map; the inverse of `seconds_at`."""
    starts, per_tick = _tempo_map(song)
    start_seconds = seconds_at(song, starts)
    index = np.clip(np.searchsorted(start_seconds, seconds, side="right") - 1, 0, None)
    ticks = starts[index] + (seconds - start_seconds[index]) / per_tick[index]
    return np.rint(ticks).astype(np.int64)


def timed_columns(song: Song) -> TimedColumns:
    """Return the notes of a song as columns with their times in seconds."""
    columns = song.columns
    return TimedColumns(
        **{field.name: getattr(columns, field.name) for field in fields(columns)},
        onset_seconds=seconds_at(song, columns.onset),
        end_seconds=seconds_at(song, columns.end),
    )


def song_bars(song: Song, end_tick: int | None = None) -> tuple[Bar, ...]:
    """Return the bars that cover the song up to ``end_tick`` (default: where its last note ends).

    There is always at least one. Ticks per bar are rounded to whole ticks where the metre doesn't
    divide the resolution.
    """
    end = max(song.end_tick if end_tick is None else end_tick, 1)
    found: list[Bar] = []
    for index, metre in enumerate(song.metres):
        last = index + 1 == len(song.metres)
        limit = end if last else min(song.metres[index + 1].tick, end)
        # Whole numbers throughout, rounded to the nearest tick: fractions take ten times as long.
        ticks, parts = 4 * metre.numerator * song.ticks_per_beat, metre.denominator
        start = metre.tick
        count = 0
        while start < limit:
            count += 1
            stop = metre.tick + max((2 * count * ticks + parts) // (2 * parts), count)
            if not last:
                stop = min(stop, song.metres[index + 1].tick)
            found.append(Bar(len(found) + 1, start, stop, metre.numerator, metre.denominator))
            start = stop
    return tuple(found)
