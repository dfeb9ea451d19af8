"""A freer performer than `performing`, and another on purpose: networks are trained on this one and measured
on that.

What differs: the time is a product of causes that pianists give (common practice; all sizes ours), each
there or not by chance: a wandering tempo, arches over phrases at several levels at once, a habit within
the bar, uneven beats, lingering before bar lines, breaths, new tempos in later sections, long speeding
up and slowing down. Hands are apart by a wandering lag; chords are rolled by habit; ornaments of
several kinds; pedals changed with the bar, the beat or the half bar.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tests.benchmarks.performing import Piece, Played, columns_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

FINE = 12
"""Places of the time map in a beat."""
TINY = 1e-6


def time_map(
    piece: Piece, rng: np.random.Generator, beat_seconds: float, rubato: float
) -> tuple[Floats, Floats]:
    """Return places in quarters, and the seconds of each."""
    width = float(np.median(np.diff(piece.beats)))
    first = min(float(piece.onset.min()), float(piece.beats[0])) - width
    last = float((piece.onset + piece.length).max())
    at = np.arange(first, last + 4 * width, width / FINE)
    if rubato <= 0:
        return at, (at - first) / width * beat_seconds + rng.uniform(0, 1)
    slow = np.zeros(len(at))
    wander = rng.uniform(0.0, 0.14) * rubato
    slow += wander * _wandering(rng, len(at), FINE * float(np.exp(rng.uniform(1.0, 3.5))))
    bar = np.clip(np.searchsorted(piece.bars, at + TINY) - 1, 0, len(piece.bars) - 1)
    beat = np.clip(np.searchsorted(piece.beats, at + TINY) - 1, 0, len(piece.beats) - 1)
    begin = np.searchsorted(piece.beats, piece.bars - TINY)
    habit = rng.normal(0, 1, 12) * rng.choice((0.0, 0.03, 0.08)) * rubato
    slow += habit[np.clip(beat - begin[bar], 0, 11)]
    slow += (rng.normal(0, 1, len(piece.beats) + 1) * rng.uniform(0, 0.07) * rubato)[beat]
    pauses = np.zeros(len(at))
    for size in (1, 2, 4, 8, 16):
        if rng.random() < (0.25, 0.5, 0.7, 0.6, 0.3)[size.bit_length() - 1]:
            slow += _arches(piece, at, rng, size, rubato)
        breaths = rng.random(len(piece.bars)) < rubato * rng.choice((0.0, 0.05, 0.2)) * (size >= 4)
        for line in piece.bars[::size][breaths[::size]]:
            place = int(np.searchsorted(at, line - width * rng.choice((0.02, 0.5, 1.0))))
            if 0 <= place < len(at):
                pauses[place] += min(rng.exponential(0.5) * rubato, 3.0)
    slow += _sections(piece, at, rng, rubato, width)
    seconds = np.exp(np.clip(slow, -1.0, 1.3)) * beat_seconds / FINE + pauses * beat_seconds
    return at, np.concatenate(([0.0], np.cumsum(seconds[:-1]))) + rng.uniform(0, 1)


def _wandering(rng: np.random.Generator, count: int, width: float) -> Floats:
    """Return a random walk that is drawn back to 0, of deviation 1; a knot every half width."""
    knots = int(2 * count / width) + 3
    walk, value = np.zeros(knots), rng.normal()
    for place in range(knots):
        value = 0.6 * value + 0.8 * rng.normal()
        walk[place] = value
    return np.interp(np.arange(count) * 2 / width, np.arange(knots), walk)


def _arches(piece: Piece, at: Floats, rng: np.random.Generator, size: int, rubato: float) -> Floats:
    """Return slowing at the ends of phrases of so many bars, each of its own depth."""
    lines = piece.bars[int(rng.integers(0, size)) if rng.random() < 0.3 else 0 :: size]
    if len(lines) < 2:
        return np.zeros(len(at))
    depth = rubato * rng.exponential(0.14 if size > 1 else 0.06) * rng.uniform(0.2, 1.8, len(lines))
    which = np.clip(np.searchsorted(lines, at + TINY) - 1, 0, len(lines) - 2)
    share = np.clip((at - lines[which]) / np.diff(lines)[which], 0.0, 1.0)
    top, power = rng.uniform(0.3, 0.7), rng.choice((2.0, 3.0, 6.0))
    rise = np.where(share > top, (share - top) / (1 - top), (top - share) / top * rng.uniform(0, 1))
    inside = (at >= lines[0]) & (at < lines[-1])
    return depth[which] * (rise**power - 0.3) * inside


def _sections(
    piece: Piece, at: Floats, rng: np.random.Generator, rubato: float, width: float
) -> Floats:
    """Return what changes the tempo for long, and the end."""
    slow = np.zeros(len(at))
    if rng.random() < 0.2:
        for line in rng.choice(piece.bars, int(rng.integers(1, 4))):
            slow += rng.normal(0, 0.25) * (at >= line)
    for _ in range(int(rng.poisson(0.8 * rubato))):
        begin, reach = rng.choice(piece.bars), width * rng.uniform(4, 24)
        share = np.clip((at - begin) / reach, 0.0, 1.0)
        back = rng.random() < 0.7
        slow += rng.normal(0.1, 0.25) * share * ((share < 1.0) if back else 1.0)
    last = float(piece.onset.max())
    share = np.clip(1 - (last - at) / (width * rng.uniform(2, 12)), 0.0, 1.2)
    return slow + share ** rng.choice((1.0, 2.0)) * rng.uniform(0, 0.7) * (rng.random() < 0.75)


def play_freely(
    piece: Piece,
    rng: np.random.Generator,
    beat_seconds: float,
    rubato: float,
    *,
    drums: bool = False,
) -> Played:
    """Return a performance; ``rubato`` from 0, a machine, to 1 and above."""
    at, times = time_map(piece, rng, beat_seconds, rubato)

    def seconds(quarters: Floats) -> Floats:
        return np.interp(quarters, at, times)

    length = np.maximum(piece.length, 0.04)
    rows = [piece.onset, length, piece.pitch, piece.part, _loudness(piece, rng)]
    missing = rng.random(len(length)) < rng.choice((0.0, 0.0, 0.02, 0.06)) * min(rubato, 1)
    rows = [row[~missing] for row in rows]
    onset, length, pitch, part, loud = rows
    start, stop = seconds(onset), seconds(onset + length * _touch(rng, onset, part))
    if rng.random() < 0.5:
        stop = np.maximum(stop, _pedalled(piece, onset, rng, seconds))
    start += _asides(rng, onset, pitch, part, rubato)
    stop = np.maximum(stop, start + 0.03)
    drum = np.zeros(len(start), np.bool_)
    made = (start, stop, pitch, part, loud, drum, onset, onset + length)
    if rubato > 0 and rng.random() < 0.45:
        made = _ornamented(rng, made)
    if rubato > 0 and rng.random() < 0.3:
        made = _wrong(rng, made)
    if drums:
        made = _drummed(piece, rng, made, seconds)
    start, stop, pitch, part, loud, drum, onset, end = made
    if rng.random() < 0.12:
        loud = np.full(len(loud), 0.6)
    start = np.maximum(start, 0.0)
    notes, order = columns_of(
        start, np.maximum(stop, start + 0.02), np.clip(pitch, 1, 126), part, np.clip(loud, 0.05, 1), drum
    )  # fmt: skip
    return Played(notes, onset[order], end[order], seconds(piece.beats), seconds(piece.bars))


def _tops(onset: Floats, pitch: Ints) -> NDArray[np.bool_]:
    places, which = np.unique(np.round(onset, 4), return_inverse=True)
    highest = np.full(len(places), -1)
    np.maximum.at(highest, which, pitch)
    return pitch == highest[which]


def _loudness(piece: Piece, rng: np.random.Generator) -> Floats:
    count = len(piece.onset)
    if piece.loud is not None and rng.random() < 0.6:
        return np.clip(piece.loud + rng.normal(0, 0.03, count), 0.05, 1)
    base = np.full(count, rng.uniform(0.35, 0.65))
    base += rng.normal(0, 0.06, int(piece.part.max()) + 1)[piece.part]
    base += rng.uniform(0, 0.15) * _tops(piece.onset, piece.pitch)
    near = (
        np.abs(piece.onset[:, None] - piece.bars[None]).min(1) if count < 4000 else np.ones(count)
    )
    base += rng.normal(0.03, 0.06) * (near < 0.01)
    swell = 0.12 * _wandering(rng, 512, 24)
    base += np.interp(
        piece.onset, np.linspace(piece.onset.min(), piece.onset.max() + 1, 512), swell
    )
    base += rng.normal(0, 0.004) * (piece.pitch - np.median(piece.pitch))
    return np.clip(base + rng.normal(0, rng.uniform(0.01, 0.09), count), 0.08, 1)


def _touch(rng: np.random.Generator, onset: Floats, part: Ints) -> Floats:
    """Return the share of its written length that each note is held: a habit of each part."""
    habit = rng.choice((0.3, 0.6, 0.85, 0.95, 1.05), int(part.max()) + 1)
    noise = rng.normal(0, rng.uniform(0.02, 0.15), len(onset))
    return np.clip(habit[part] + noise, 0.1, 1.4)


def _pedalled(piece: Piece, onset: Floats, rng: np.random.Generator, seconds) -> Floats:
    way = rng.random()
    grid = piece.bars if way < 0.4 else piece.beats if way < 0.7 else piece.beats[::2]
    grid = np.append(grid, grid[-1] + 99.0)
    until = np.minimum(grid[np.searchsorted(grid, onset + TINY)], onset + 8)
    on = rng.random(len(grid) + 1)[np.searchsorted(grid, onset + TINY)] < rng.uniform(0.5, 1.0)
    late = rng.uniform(-0.05, 0.15)
    return np.where(on, seconds(until) + late, 0.0)


def _asides(
    rng: np.random.Generator, onset: Floats, pitch: Ints, part: Ints, rubato: float
) -> Floats:
    """Return by how many seconds notes are off: by chance, by hand, ahead as the tune, rolled."""
    off = rng.normal(0, rng.uniform(0.002, 0.022) * min(rubato, 1.2), len(onset))
    if rubato <= 0:
        return off
    for hand in np.unique(part):
        which = part == hand
        lag = rng.normal(0, 0.008) + rng.uniform(0, 0.02) * _wandering(rng, 256, 12)
        off[which] += rubato * np.interp(
            onset[which], np.linspace(onset.min(), onset.max() + 1, 256), lag
        )
    off -= _tops(onset, pitch) * rubato * rng.uniform(0, 0.05)
    places, which, size = np.unique(np.round(onset, 4), return_inverse=True, return_counts=True)
    odds = rng.choice((0.0, 0.0, 0.06, 0.3, 0.7), p=(0.3, 0.15, 0.3, 0.15, 0.1)) * min(rubato, 1)
    rolled = (rng.random(len(places)) < odds) & (size > 1)
    spread = rng.uniform(0.03, 0.3, len(places)) * np.minimum(size, 6) / 6 * rolled
    order = np.lexsort((pitch, which))
    rank = np.zeros(len(pitch))
    rank[order] = (
        np.arange(len(pitch)) - np.searchsorted(which[order], np.arange(len(places)))[which[order]]
    )
    share = rank / np.maximum(size[which] - 1, 1)
    before = (rng.random(len(places)) < rng.choice((0.1, 0.6, 0.9))).astype(float)
    return off + (share - before[which]) * spread[which]


def _joined(made, *others):
    return tuple(
        np.concatenate((column, *more)) for column, *more in zip(made, *others, strict=True)
    )


def _ornamented(rng: np.random.Generator, made):
    """Return the notes with grace notes, turns, trills and repeated notes; a note's place is kept."""
    start, stop, pitch, part, loud, drum, onset, end = made
    long = stop - start
    added = []

    def add(which, off, step, size):
        begin = start[which] + off
        added.append((begin, begin + size, pitch[which] + step, part[which], loud[which] * 0.85,
                      drum[which], onset[which], end[which]))  # fmt: skip

    graces = np.flatnonzero((long > 0.25) & (rng.random(len(long)) < rng.uniform(0, 0.1)))
    gap = rng.uniform(0.04, 0.11)
    for number in range(1, int(rng.integers(2, 5))):
        add(graces, -gap * number, int(rng.choice((-2, -1, 1, 2, 3))), gap)
    turns = np.flatnonzero((long > 0.3) & (rng.random(len(long)) < rng.choice((0.0, 0.02, 0.06))))
    for number, step in enumerate((2, 0, -1, 0)[: int(rng.integers(2, 5))], 1):
        add(turns, 0.08 * number, step, 0.08)
    fast = rng.uniform(0.06, 0.12)
    for index in np.flatnonzero((long > 0.45) & (rng.random(len(long)) < rng.choice((0.0, 0.03)))):
        for number in range(1, min(int(long[index] / fast), 24)):
            add(np.array([index]), number * fast, 2 * (number % 2), fast)
    return _joined(made, *added) if added else made


def _wrong(rng: np.random.Generator, made):
    start, _, pitch, part, loud, drum, onset, end = made
    which = rng.integers(0, len(start), int(len(start) * rng.uniform(0, 0.03)))
    begin = start[which] + rng.normal(0, 0.1, len(which))
    wrong = (begin, begin + rng.uniform(0.05, 0.3, len(which)), pitch[which] + rng.choice((-2, -1, 1, 2, 12)),
             part[which], loud[which] * 0.8, drum[which], onset[which], end[which])  # fmt: skip
    return _joined(made, wrong)


def _drummed(piece: Piece, rng: np.random.Generator, made, seconds):
    """Return the notes with a drummer: bass drum and snare by a pattern of the bar, hats on divisions."""
    lines = np.searchsorted(piece.beats, piece.bars - TINY)
    bar = np.clip(np.searchsorted(piece.bars, piece.beats + TINY) - 1, 0, None)
    in_bar = np.arange(len(piece.beats)) - lines[bar]
    pattern = rng.choice((36, 36, 38, 0), 8)
    pattern[0] = 36
    pattern[1::2] = 38 if rng.random() < 0.7 else pattern[1::2]
    keys = pattern[np.clip(in_bar, 0, 7)]
    width = float(np.median(np.diff(piece.beats)))
    cut = int(rng.choice((1, 2, 2, 3, 4)))
    hats = np.concatenate([piece.beats + width * k / cut for k in range(cut)])
    place = np.concatenate((piece.beats, hats))
    pitch = np.concatenate((keys, np.full(len(hats), int(rng.choice((42, 44, 51))))))
    kept = (
        (pitch > 0)
        & (rng.random(len(place)) > 0.04)
        & (place > rng.uniform(0, 0.5) * piece.beats[-1])
    )
    place, pitch = place[kept], pitch[kept].astype(np.int64)
    start = seconds(place) + rng.normal(0, 0.004, len(place))
    part = np.full(len(place), int(made[3].max()) + 1)
    loud = np.clip(rng.normal(0.65, 0.1, len(place)), 0.1, 1)
    return _joined(
        made, (start, start + 0.1, pitch, part, loud, np.ones(len(place), bool), place, place + 0.1)
    )
