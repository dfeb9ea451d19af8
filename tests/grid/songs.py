"""Songs made by hand for the tests: notes in beats, everything else by default."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from arranger.song.model import MetreChange, Note, Part, Song, TempoChange, Track

if TYPE_CHECKING:
    from collections.abc import Iterable

TICKS = 480

Written = tuple[float | Fraction, float | Fraction, int]
"""Onset and length in beats, pitch."""


def song_of(
    *parts: Iterable[Written],
    bpm: float = 120.0,
    metres: tuple[tuple[float, int, int], ...] = ((0, 4, 4),),
    drums: frozenset[int] = frozenset(),
    **changes: object,
) -> Song:
    """Return a song of one track a part; ``metres`` are (beat, numerator, denominator)."""
    rows = sorted(
        (round(onset * TICKS), index, order, round(length * TICKS), pitch)
        for index, part in enumerate(parts)
        for order, (onset, length, pitch) in enumerate(part)
    )
    notes = tuple(
        Note(i, part, part, part, onset, length, pitch, 96, 0.75, part in drums)
        for i, (onset, part, _, length, pitch) in enumerate(rows)
    )
    counts = [sum(note.part == index for note in notes) for index in range(len(parts))]
    values: dict[str, object] = {
        "title": "test",
        "file": "test.mid",
        "sha256": "0" * 64,
        "kind": "midi",
        "midi_format": 1,
        "ticks_per_beat": TICKS,
        "own_beat": True,
        "notes": notes,
        "parts": tuple(
            Part(i, i, i, 0, f"part {i + 1}", i in drums, 64, n) for i, n in enumerate(counts)
        ),
        "tracks": tuple(Track(i, f"part {i + 1}", n) for i, n in enumerate(counts)),
        "tempos": (TempoChange(0, round(60e6 / bpm)),),
        "metres": tuple(MetreChange(round(b * TICKS), n, d) for b, n, d in metres),
    }
    return Song(**(values | changes))  # type: ignore[arg-type]
