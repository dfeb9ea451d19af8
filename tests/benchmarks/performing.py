"""A seeded performer of scores, whose every beat and bar line is known: what the networks are trained on.

Common practice for such models (parameters ours, no source):

- tempo: smooth random curves of several widths, arches over phrases of 2 to 8 bars that slow down at
  their ends, pauses there now and then, a ritardando at the end
- onsets: each a little off by chance, the top line ahead, chords rolled upwards
- ornaments: grace notes before long notes, short trills
- length: detached to overlapping; a pedal that is changed at bar lines or beats
- loudness: a curve over phrases, accents on beats, the top line louder, chance
- wrong notes: left out, added near others
- drums: a beat of the metre's own, sometimes

`rubato` scales all that bends time, from 0 (a machine) to 1 (as free as pianists are).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.song.notes import TimedColumns

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


class Piece(NamedTuple):
    """A score as columns, in quarter notes."""

    onset: Floats
    length: Floats
    pitch: Ints
    part: Ints
    bars: Floats
    """Bar lines, rising."""
    beats: Floats
    """Beats, rising."""
    loud: Floats | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Played:
    """What was played, and the truth about it."""

    notes: TimedColumns
    quarters: Floats
    """Shape (notes,): where each note stands in the score, in quarter notes."""
    quarter_ends: Floats
    beats: Floats
    """Seconds."""
    bars: Floats
    """Seconds."""


def columns_of(
    start: Floats, end: Floats, pitch: Ints, part: Ints, loud: Floats, drum: NDArray[np.bool_]
) -> tuple[TimedColumns, Ints]:
    """Return notes as columns in order of time, and the order; a tick is a millisecond."""
    start = np.round(start, 3)
    order = np.lexsort((pitch, start))
    zeros = np.zeros(len(order), np.int64)
    onset = np.rint(start[order] * 1000).astype(np.int64)
    found = TimedColumns(
        part=part[order], track=zeros, channel=zeros.copy(), onset=onset,
        duration=np.maximum(np.rint(end[order] * 1000).astype(np.int64) - onset, 1),
        pitch=pitch[order], velocity=np.rint(loud[order] * 127).astype(np.int64),
        loudness=loud[order], drum=drum[order], shift=zeros.copy(), rings=zeros.copy(),
        onset_seconds=start[order], end_seconds=np.maximum(end[order], start[order] + 0.001),
    )  # fmt: skip
    return found, order


def tempo_curve(piece: Piece, rng: np.random.Generator, beat_seconds: float, rubato: float):
    """Return places in quarters and the seconds at each."""
    last = float((piece.onset + piece.length).max())
    first = min(float(piece.onset.min()), float(piece.beats[0]))
    per_beat = float(np.median(np.diff(piece.beats)))
    step = per_beat / 8
    at = np.arange(first - per_beat, last + 4 * per_beat, step)
    log = np.zeros(len(at))
    for width, share in ((2.0, 0.05), (6.0, 0.10), (24.0, 0.12)):
        log += rubato * share * rng.uniform(0.2, 1.6) * _smooth(rng, len(at), width * 8)
    pauses = np.zeros(len(at))
    place, depth, bars = 0, rubato * rng.uniform(0.0, 0.45), piece.bars
    size = int(rng.choice((2, 4, 4, 4, 8)))
    while place + size < len(bars):
        begin, end = bars[place], bars[place + size]
        share = np.clip((at - begin) / (end - begin), 0.0, 1.0)
        inside = (at >= begin) & (at < end)
        # slower at both ends, most of all at the second
        log[inside] += depth * (0.4 * (1 - share) ** 3 + share**4)[inside]
        if rng.random() < 0.3 * rubato:
            near = min(
                int(np.searchsorted(at, end - per_beat * rng.uniform(0.2, 1.2))), len(at) - 1
            )
            pauses[near] += rng.exponential(0.8) * rubato
        place += size
    slow = np.clip((at - (last - rng.uniform(3, 10) * per_beat)) / (6 * per_beat), 0.0, 1.0)
    log += slow**2 * rng.uniform(0.0, 0.8) * (rubato > 0)
    seconds = np.exp(log) * beat_seconds * step / per_beat + pauses * beat_seconds
    times = np.concatenate(([0.0], np.cumsum(seconds[:-1])))
    return at, times + rng.uniform(0.0, 1.0)


def perform(
    piece: Piece,
    seed: int,
    beat_seconds: float,
    rubato: float,
    *,
    drums: bool = False,
    level: bool = False,
) -> Played:
    """Return a performance; ``level``: all notes equally loud."""
    rng = np.random.default_rng(seed)
    at, times = tempo_curve(piece, rng, beat_seconds, rubato)

    def seconds(quarters: Floats) -> Floats:
        return np.interp(quarters, at, times)

    onset, length = piece.onset, np.maximum(piece.length, 0.05)
    pitch, part = piece.pitch, piece.part
    loud = _loudness(piece, rng)
    kept = rng.random(len(onset)) >= rng.choice((0.0, 0.0, 0.03)) * rubato
    onset, length, pitch, part, loud = (x[kept] for x in (onset, length, pitch, part, loud))
    if rubato > 0 and rng.random() < 0.4:
        onset, length, pitch, part, loud = _ornamented(
            rng, onset, length, pitch, part, loud, at, times
        )
    top = _is_top(onset, pitch)
    start = seconds(onset)
    spread = rubato * rng.uniform(0.004, 0.035)
    start = start + rng.normal(0.0, 1.0, len(start)) * spread
    start -= top * rubato * rng.uniform(0.0, 0.04)
    start += _rolls(rng, onset, pitch, rubato)
    held = rng.uniform(*((0.35, 0.75), (0.7, 1.0), (0.9, 1.1))[rng.integers(3)], len(start))
    stop = seconds(onset + length * held)
    if rng.random() < 0.35:
        grid = piece.bars if rng.random() < 0.5 else piece.beats
        until = np.append(grid, grid[-1] + 99.0)[np.searchsorted(grid, onset + 1e-6)]
        stop = np.maximum(stop, seconds(np.minimum(until, onset + 12)) - 0.02)
    stop = np.maximum(stop, start + 0.03)
    drum = np.zeros(len(start), np.bool_)
    extra = int(rng.choice((0.0, 0.0, 0.02)) * rubato * len(start))
    if extra:
        which = rng.integers(0, len(start), extra)
        moved = np.clip(pitch[which] + rng.choice((-2, -1, 1, 2), extra), 1, 126)
        late = start[which] + rng.normal(0.0, 0.08, extra)
        start, stop = np.append(start, late), np.append(stop, late + 0.1)
        pitch, part = np.append(pitch, moved), np.append(part, part[which])
        loud, drum = np.append(loud, loud[which] * 0.8), np.append(drum, np.zeros(extra, bool))
        onset, length = np.append(onset, onset[which]), np.append(length, length[which] * 0 + 0.1)
    if drums:
        place, keys, volume = _drum_beat(piece, rng)
        onset, length = np.append(onset, place), np.append(length, np.full(len(place), 0.1))
        begin = seconds(place) + rng.normal(0.0, 0.003 + spread / 3, len(place))
        start, stop = np.append(start, begin), np.append(stop, begin + 0.1)
        pitch, part = np.append(pitch, keys), np.append(part, np.full(len(place), part.max() + 1))
        loud, drum = np.append(loud, volume), np.append(drum, np.ones(len(place), bool))
    if level:
        loud = np.full(len(loud), 0.63)
    start = np.maximum(start, 0.0)
    stop = np.maximum(stop, start + 0.02)
    notes, order = columns_of(start, stop, pitch, part, np.clip(loud, 0.05, 1.0), drum)
    return Played(
        notes,
        onset[order],
        (onset + length)[order],
        seconds(piece.beats),
        seconds(piece.bars),
    )


def _smooth(rng: np.random.Generator, count: int, width: float) -> Floats:
    knots = rng.normal(size=int(count / width) + 4)
    at = np.arange(count) / width
    left = at.astype(int)
    share = at - left
    share = share * share * (3 - 2 * share)
    return knots[left] * (1 - share) + knots[left + 1] * share


def _loudness(piece: Piece, rng: np.random.Generator) -> Floats:
    if piece.loud is not None and rng.random() < 0.7:
        base = piece.loud.copy()
    else:
        accent = rng.uniform(-0.05, 0.2)
        base = np.full(len(piece.onset), 0.55) + 0.1 * _is_top(piece.onset, piece.pitch)
        on_beat = np.isin(np.round(piece.onset, 3), np.round(piece.beats, 3))
        on_bar = np.isin(np.round(piece.onset, 3), np.round(piece.bars, 3))
        base += accent * (0.5 * on_beat + 0.7 * on_bar)
    curve = 0.1 * _smooth(rng, 4096, 64)
    base = base + np.interp(
        piece.onset, np.linspace(piece.onset.min(), piece.onset.max() + 1, 4096), curve
    )
    return np.clip(base + rng.normal(0.0, rng.uniform(0.0, 0.08), len(base)), 0.1, 1.0)


def _is_top(onset: Floats, pitch: Ints) -> NDArray[np.bool_]:
    places, which = np.unique(np.round(onset, 4), return_inverse=True)
    highest = np.full(len(places), -1)
    np.maximum.at(highest, which, pitch)
    return pitch == highest[which]


def _rolls(rng: np.random.Generator, onset: Floats, pitch: Ints, rubato: float) -> Floats:
    places, which = np.unique(np.round(onset, 4), return_inverse=True)
    rolled = rng.random(len(places)) < rubato * rng.uniform(0.0, 0.3)
    gap = rng.uniform(0.015, 0.06) * rolled
    order = np.lexsort((pitch, which))
    rank = np.zeros(len(pitch))
    first = np.searchsorted(which[order], np.arange(len(places)))
    rank[order] = np.arange(len(pitch)) - first[which[order]]
    size = np.bincount(which)
    # the last of a roll is on the beat, or the first
    before = np.where(rng.random(len(places)) < 0.5, size - 1, 0)
    return np.where(size[which] > 1, (rank - before[which]) * gap[which], 0.0)


def _ornamented(rng, onset, length, pitch, part, loud, at, times):
    """Return the notes with grace notes and trills, which keep their place in seconds."""
    per_quarter = float(np.median(np.diff(times)) / np.median(np.diff(at)))
    long = length * per_quarter > 0.35
    graced = np.flatnonzero(long & (rng.random(len(onset)) < rng.uniform(0.0, 0.08)))
    trilled = np.flatnonzero((length * per_quarter > 0.5) & (rng.random(len(onset)) < 0.015))
    rows = [(onset, length, pitch, part, loud)]
    before = rng.uniform(0.05, 0.1) / per_quarter
    rows.append(
        (
            onset[graced] - before, np.full(len(graced), before),
            pitch[graced] + rng.choice((-1, 1, 2), len(graced)), part[graced], loud[graced] * 0.8,
        )
    )  # fmt: skip
    fast = 0.09 / per_quarter
    for index in trilled:
        count = int(min(length[index] / fast - 1, 10))
        numbers = np.arange(1, max(count, 1))
        rows.append(
            (
                onset[index] + numbers * fast, np.full(len(numbers), fast),
                pitch[index] + 2 * (numbers % 2), np.full(len(numbers), part[index]),
                np.full(len(numbers), loud[index] * 0.8),
            )
        )  # fmt: skip
    return tuple(np.concatenate(column) for column in zip(*rows, strict=True))


def _drum_beat(piece: Piece, rng: np.random.Generator):
    """Return places in quarters, keys and loudness of a drummer."""
    bar_of = np.searchsorted(piece.bars, piece.beats + 1e-6) - 1
    in_bar = np.arange(len(piece.beats)) - np.searchsorted(bar_of, bar_of)
    kick = in_bar % 2 == 0 if rng.random() < 0.7 else in_bar == 0
    width = float(np.median(np.diff(piece.beats)))
    hats = np.concatenate((piece.beats, piece.beats + width / 2))
    place = np.concatenate((piece.beats, hats if rng.random() < 0.7 else hats[:0]))
    keys = np.full(len(place), 42)
    keys[: len(piece.beats)] = np.where(kick, 36, 38)
    keep = rng.random(len(place)) > 0.05
    starts = rng.uniform(0.0, 0.4) * piece.beats[-1]
    keep &= place >= starts
    return place[keep], keys[keep], np.clip(rng.normal(0.7, 0.08, keep.sum()), 0.2, 1.0)
