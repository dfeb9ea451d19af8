"""What two voices have of a song's tune, basses, chords and pedals, counted on the sheet's steps."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from arranger.rows import HOLD, REST, tone_spans, tones
from arranger.song.time import seconds_at
from tests.benchmarks.lines import sounding
from tests.benchmarks.tune_finding import tune_steps

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.columns import Bools, Floats, Ints
    from arranger.conversion import Conversion
    from arranger.rows import Row
    from tests.benchmarks.ear import Chord

Figures = dict[str, float]

SCRAP_SEMITONES = 5
LONG_BEATS = 4
FUSED_SECONDS = 0.25
"""Tones no longer than this are told as turns, if three or more follow each other."""


def steps_at(conversion: Conversion, seconds: Floats) -> Floats:
    """Return where moments of the song stand on the sheet, in steps; any shape."""
    grid, song = conversion.grid, conversion.song
    placed = np.flatnonzero(grid.onset_steps >= 0)
    at, first = np.unique(seconds_at(song, song.columns.onset[placed]), return_index=True)
    there = np.maximum.accumulate(grid.positions[placed][first])
    slope = (there[-1] - there[0]) / max(at[-1] - at[0], 1e-9)
    result: Floats = np.interp(seconds, at, there)
    # Before the first and after the last onset the song goes on at its mean tempo.
    result += slope * (np.minimum(seconds - at[0], 0.0) + np.maximum(seconds - at[-1], 0.0))
    return result


def in_table(conversion: Conversion, note: int) -> int:
    """Return the pitch of a note, by octaves in the engine's range."""
    low, high = min(conversion.engine.pitches), max(conversion.engine.pitches)
    pitch = int(conversion.song.columns.pitch[note]) + conversion.reduction.ledger.transpose
    return pitch + 12 * max(-((pitch - low) // 12), 0) - 12 * max(-((high - pitch) // 12), 0)


def outer_rows(conversion: Conversion) -> tuple[Row, Row]:
    """Return the highest and the lowest note of each step, in the engine's range."""
    pitches = conversion.song.columns.pitch
    rows: tuple[list[int], list[int]] = ([], [])
    before = [-1, -1]
    for ids in sounding(conversion):
        order = sorted(ids, key=lambda i: int(pitches[i]))
        for row, note, which in zip(rows, (order[-1:], order[:1]), (0, 1), strict=True):
            now = note[0] if note else -1
            same = now >= 0 and now == before[which]
            row.append(HOLD if same else REST if now < 0 else in_table(conversion, now))
            before[which] = now
    return tuple(rows[0]), tuple(rows[1])


def of_chords(chords: Sequence[Chord], rows: Sequence[Row], seconds: float) -> Figures:
    """Return how many of the chords' tones, and of their basses, rows with such steps have."""
    held = [tones(row) for row in rows]
    found, right = [], []
    for chord in chords:
        first, last = round(chord.start / seconds), round(chord.end / seconds)
        heard = {p for row in held for p in row[first:last] if p is not None}
        if heard and chord.classes:
            found.append(len(chord.classes & {p % 12 for p in heard}) / len(chord.classes))
            right.append(min(heard) % 12 == chord.bass)
    return {"tones": _mean(found), "bass": _mean(right)}


def of_tune(conversion: Conversion, is_tune: Bools) -> Figures:
    """Return how much of the tune is heard, and how steadily."""
    reduction, bars = conversion.reduction, len(conversion.grid.bars)
    sounds, hits, silent = tune_steps(conversion, is_tune)
    both = [hit | silent for hit in hits]
    carriers = [0 if one else 1 for one, two in zip(*hits, strict=True) if one or two]
    spans = list(tone_spans(reduction.voice1))
    ours = [
        bool(hits[0][start:end].any() or is_tune[reduction.sources1[start]])
        for start, end, _ in spans
    ]
    scraps = sum(
        ours[at - 1] and ours[at + 1] and not ours[at]
        and all(abs(spans[at][2] - spans[near][2]) > SCRAP_SEMITONES for near in (at - 1, at + 1))
        for at in range(1, len(spans) - 1)
    )  # fmt: skip
    leaps = sum(abs(now[2] - before[2]) > 12 for before, now in pairwise(spans))
    return {
        "tune": float((both[0] | both[1])[sounds].mean()),
        "v1": float(both[0][sounds].mean()),
        "swaps": sum(a != b for a, b in pairwise(carriers)) / bars,
        "scraps": scraps / bars,
        "leaps": leaps / bars,
    }


def of_voice2(conversion: Conversion, key_ends: Ints) -> Figures:
    """Return how voice 2 moves; ``key_ends`` are the ticks at which each note's key comes up."""
    grid, row = conversion.grid, conversion.reduction.voice2
    up = steps_at(conversion, seconds_at(conversion.song, key_ends))
    spans = list(tone_spans(row))
    long = sum(e - s for s, e, _ in spans if (e - s) * float(grid.step_beats) >= LONG_BEATS)
    heads = np.array([bar.first_step for bar in grid.bars])
    by_pedal = 0
    for start, end, _ in spans:
        sources = conversion.reduction.sources2[start:end]
        steps = np.arange(start, end)
        bar = grid.bars[int(np.searchsorted(heads, start, side="right")) - 1].steps
        alone = np.count_nonzero(steps >= up[list(sources)] - 0.5)
        by_pedal += int(alone) if alone > bar else 0
    milliseconds = [
        1000 * (end - start) * grid.step_length.seconds
        for run in _runs(spans, FUSED_SECONDS / grid.step_length.seconds)
        for start, end, _ in run
    ]
    whole = 1000 * grid.steps * grid.step_length.seconds
    return {
        "pedal": by_pedal / grid.steps,
        "long": long / grid.steps,
        "turns": sum(milliseconds) / whole,
        "turn ms": float(np.median(milliseconds)) if milliseconds else np.nan,
    }


def _runs(
    spans: Sequence[tuple[int, int, int]], longest: float
) -> Iterator[list[tuple[int, int, int]]]:
    """Yield runs of three or more short tones that follow each other without a rest."""
    run: list[tuple[int, int, int]] = []
    for span in [*spans, (-1, -1, -1)]:
        short = span[0] >= 0 and span[1] - span[0] <= longest
        if run and (not short or span[0] != run[-1][1]):
            if len(run) > 2:
                yield run
            run = []
        if short:
            run.append(span)


def of_tops(conversion: Conversion) -> Figures:
    """Return the share of chords of the tune's part whose top voice 1 doesn't start, of how many.

    The tune's part at a moment is that of the note that is most surely the tune among those that
    start on one step; a chord is two or more of its pitches.
    """
    reduction, grid, notes = conversion.reduction, conversion.grid, conversion.song.columns
    weights = reduction.weights
    assert weights is not None
    together: dict[int, list[int]] = {}
    for note in np.flatnonzero(~notes.drum & (grid.onset_steps >= 0)).tolist():
        together.setdefault(int(grid.onset_steps[note]), []).append(note)
    low, high = min(conversion.engine.pitches), max(conversion.engine.pitches)
    missed = []
    for step, ids in together.items():
        surest = max(ids, key=lambda note: (weights.tune[note], notes.pitch[note]))
        pitches = {int(notes.pitch[i]) for i in ids if notes.part[i] == notes.part[surest]}
        top = max(pitches) + reduction.ledger.transpose
        if weights.tune[surest] > 0.5 and len(pitches) > 1 and low <= top <= high:
            missed.append(reduction.voice1[step] != top)
    return {"tops": _mean(missed), "chords": len(missed)}


def _mean(values: Sequence[float]) -> float:
    return float(np.mean(values)) if values else np.nan
