"""Scores in other dress, so that a network sees all metres and textures: seeded, for training alone.

The corpus has many bare tunes and few keyboard pieces, and compound metres mostly without chords. So

- a piece is written over into another metre: beats in halves to beats in thirds and back, pairs of beats
  to threes (`remetred`)
- a bare tune is harmonised with triads of its key; of other pieces the chord of each stretch is what
  sounds there (`chords_of`)
- an accompaniment figure is played on those chords: held, repeated, broken, waltzing, off the beat,
  running (`accompanied`); figures change every few bars
- a tune is divided into runs, or doubled in octaves
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from tests.benchmarks.performing import Piece

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Row = tuple[float, float, int, int]
    """Onset and length in quarters, pitch, part."""

TINY = 1e-6
MAJOR, MINOR = (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 10)
USUAL = {0: 0.35, 4: 0.25, 3: 0.2, 5: 0.05, 1: 0.05}
"""What a triad on a degree is worth before any note is heard."""
FIGURES = (
    "held", "blocks", "repeated", "alberti", "up", "up-down", "waltz", "offbeat", "stride", "syncopated",
    "octaves", "running", "late", "bass", "drone", "wide",
)  # fmt: skip


def is_compound(piece: Piece) -> bool:
    """Return whether beats divide in three: they last 3/8, 3/16 or 3/4."""
    width = float(np.median(np.diff(piece.beats)))
    return abs(np.log2(width / 3) - round(np.log2(width / 3))) < 0.01


def dressed(piece: Piece, rng: np.random.Generator) -> Piece:
    """Return a piece in another metre, texture, or as it is, by chance."""
    bare = _is_bare(piece)
    if rng.random() < 0.35:
        piece = remetred(piece, rng)
    if rng.random() < 0.2:
        piece = _divided(piece, rng)
    if rng.random() < (0.7 if bare else 0.55):
        piece = accompanied(piece, rng)
    if rng.random() < 0.2:
        piece = _doubled(piece, rng)
    shift = int(rng.integers(-7, 8))
    return piece._replace(pitch=np.clip(piece.pitch + shift, 12, 115))


def _is_bare(piece: Piece) -> bool:
    return len(np.unique(np.round(piece.onset, 4))) > 0.9 * len(piece.onset)


def remetred(piece: Piece, rng: np.random.Generator) -> Piece:
    """Return a piece written over into another metre."""
    beats = piece.beats
    if is_compound(piece):
        return _mapped(piece, *_beats_bent(beats, 2 / 3, 0.5, 2 / 3), piece.beats, piece.bars)
    if rng.random() < 0.5:
        return _mapped(piece, *_beats_bent(beats, 0.5, 2 / 3, 1.5), beats, piece.bars)
    return _tripled(piece, rng)


def _beats_bent(beats: Floats, inner: float, to: float, scale: float) -> tuple[Floats, Floats]:
    """Return places before and after: each beat scaled, and its inner point moved."""
    ends = np.append(beats, beats[-1] + np.diff(beats)[-1])
    new = np.concatenate(([0.0], np.cumsum(np.diff(ends) * scale)))
    old = np.stack((ends[:-1], ends[:-1] + inner * np.diff(ends)), 1).ravel()
    bent = np.stack((new[:-1], new[:-1] + to * np.diff(new)), 1).ravel()
    return np.append(old, ends[-1]), np.append(bent, new[-1])


def _tripled(piece: Piece, rng: np.random.Generator) -> Piece:
    """Return pairs of beats as threes: one of each pair lasts twice as long."""
    in_bar = np.searchsorted(piece.beats, piece.bars - TINY)
    sizes = np.diff(in_bar)
    if len(sizes) < 4 or np.mean(sizes % 2) > 0.2:
        return piece
    pairs = np.concatenate([np.arange(a, b, 2) for a, b in pairwise(in_bar)])
    ends = np.append(piece.beats, piece.beats[-1] + np.diff(piece.beats)[-1])
    lengths = np.diff(ends)
    long = pairs if rng.random() < 0.75 else np.minimum(pairs + 1, len(lengths) - 1)
    lengths[long] *= 2
    new = np.concatenate(([0.0], np.cumsum(lengths)))
    beats = np.sort(np.concatenate((piece.beats, (ends[long] + ends[long + 1]) / 2)))
    return _mapped(piece, ends, new, beats, piece.beats[pairs])


def _mapped(piece: Piece, old: Floats, new: Floats, beats: Floats, bars: Floats) -> Piece:
    def moved(at: Floats) -> Floats:
        rate_in = (new[1] - new[0]) / (old[1] - old[0])
        rate_out = (new[-1] - new[-2]) / (old[-1] - old[-2])
        found = np.interp(at, old, new)
        found = np.where(at < old[0], new[0] - (old[0] - at) * rate_in, found)
        return np.where(at > old[-1], new[-1] + (at - old[-1]) * rate_out, found)

    onset = moved(piece.onset)
    length = moved(piece.onset + piece.length) - onset
    return piece._replace(onset=onset, length=length, beats=moved(beats), bars=moved(bars))


def chords_of(piece: Piece, spans: Floats, rng: np.random.Generator) -> list[list[int]]:
    """Return pitch classes of a chord for each span between ``spans``, its root or bass first."""
    which = np.clip(np.searchsorted(spans, piece.onset + TINY) - 1, 0, len(spans) - 2)
    weight = np.minimum(piece.length, np.median(np.diff(spans)))
    first = np.abs(piece.onset - spans[which]) < 0.05
    table = np.zeros((len(spans) - 1, 12))
    np.add.at(table, (which, piece.pitch % 12), weight * (1 + first))
    if not _is_bare(piece):
        return _heard_chords(piece, table, which)
    total = table.sum(0)
    keys = [(total[[(k + s) % 12 for s in mode]].sum() + total[k] * 0.3, k, mode)
            for k in range(12) for mode in (MAJOR, MINOR)]  # fmt: skip
    _, key, mode = max(keys)
    triads = [[(key + mode[(d + i) % 7]) % 12 for i in (0, 2, 4)] for d in range(7)]
    prior = np.array([USUAL.get(d, 0.0) for d in range(7)])
    found, last = [], -1
    for row in table:
        worth = np.array([row[t].sum() for t in triads]) / max(row.sum(), 0.1) + prior
        worth += rng.gumbel(0, 0.08, 7) - 0.1 * (np.arange(7) == last)
        last = int(worth.argmax())
        found.append(triads[last])
    return found


def _heard_chords(piece: Piece, table: Floats, which: NDArray[np.int64]) -> list[list[int]]:
    lowest = np.full(len(table), 200)
    np.minimum.at(lowest, which, piece.pitch)
    found: list[list[int]] = []
    for row, low in zip(table, lowest, strict=True):
        if row.sum() <= 0 or low > 127:
            found.append(found[-1] if found else [0, 4, 7])
            continue
        order = [int(c) for c in np.argsort(-row)[:3] if row[c] > 0.1 * row.max()]
        found.append([int(low) % 12] + [c for c in order if c != low % 12])
    return found


def accompanied(piece: Piece, rng: np.random.Generator) -> Piece:
    """Return the top of a piece with accompaniment figures on its chords."""
    spans = _spans(piece, rng)
    if len(spans) < 3:
        return piece
    chords = chords_of(piece, spans, rng)
    tune = _top(piece)
    rows: list[Row] = []
    thirds = is_compound(piece)
    low = int(rng.integers(36, 50))
    figure, left, parts = "held", 0, (90, int(rng.integers(90, 92)))
    usual = list(rng.choice(FIGURES, 2))
    for place, chord in enumerate(chords):
        begin, end = spans[place], spans[place + 1]
        if left <= 0:
            figure = str(rng.choice(usual) if rng.random() < 0.8 else rng.choice(FIGURES))
            division = int(rng.choice((1, 3, 3, 6)) if thirds else rng.choice((1, 2, 2, 3, 4, 4)))
            left = int(rng.choice((4, 8, 8, 16)))
        left -= 1
        inside = piece.beats[(piece.beats > begin - TINY) & (piece.beats < end - TINY)]
        if len(inside):
            bar = bool(np.abs(piece.bars - begin).min() < TINY)
            beats = np.append(inside, end)
            rows += _figure(figure, beats, _voiced(chord, low, rng), division, parts, bar)
    onset, length, pitch, part = (
        (np.array(c) for c in zip(*rows, strict=True)) if rows else ([],) * 4
    )
    return Piece(
        np.concatenate((tune.onset, onset)), np.concatenate((tune.length, length)),
        np.concatenate((tune.pitch, pitch)).astype(np.int64),
        np.concatenate((tune.part, part)).astype(np.int64), piece.bars, piece.beats,
    )  # fmt: skip


def _spans(piece: Piece, rng: np.random.Generator) -> Floats:
    """Return where chords may change: at bars, at half bars, or at beats."""
    last = (piece.onset + piece.length).max()
    beats, bars = piece.beats[piece.beats < last], piece.bars[piece.bars < last]
    way = rng.random()
    if way < 0.55:
        found = bars
    elif way < 0.85:
        in_bar = np.arange(len(beats)) - np.searchsorted(beats, bars)[
            np.clip(np.searchsorted(bars, beats + TINY) - 1, 0, None)]  # fmt: skip
        sizes = round(len(beats) / max(len(bars), 1))
        at = (0, 2) if sizes in {2, 3, 4} and sizes != 2 else (0, 1) if sizes == 2 else (0, 3)
        found = beats[np.isin(in_bar, at) & (beats >= bars[0] - TINY)] if len(bars) else beats
    else:
        found = beats
    return np.append(found, piece.beats[-1] + np.diff(piece.beats)[-1])


def _top(piece: Piece) -> Piece:
    """Return the highest note of each moment."""
    places, which = np.unique(np.round(piece.onset, 4), return_inverse=True)
    highest = np.full(len(places), -1)
    np.maximum.at(highest, which, piece.pitch)
    kept = (piece.pitch == highest[which]) & (piece.pitch >= np.median(highest) - 9)
    columns = (piece.onset[kept], piece.length[kept], piece.pitch[kept], piece.part[kept])
    return Piece(*columns, piece.bars, piece.beats)


def _voiced(chord: list[int], low: int, rng: np.random.Generator) -> list[int]:
    """Return a bass note, and the chord's others close above, rising."""
    bass = low + (chord[0] - low) % 12
    above = bass + (12 if rng.random() < 0.3 else 3)
    rest = sorted(above + (c - above) % 12 for c in (chord[1:] or chord))
    if len(rest) < 3:
        rest.append(above + (chord[0] - above) % 12)
    return [bass, *sorted(rest)]


def _figure(
    name: str, beats: Floats, chord: list[int], division: int, parts: tuple[int, int], bar: bool
) -> list[Row]:
    """Return one span's notes of a figure; ``beats`` has the span's end too."""
    bass, upper = chord[0], chord[1:]
    begin, end = float(beats[0]), float(beats[-1])
    low, high = parts
    count = len(beats) - 1
    widths = np.diff(beats)
    cells = [
        (float(beats[n] + widths[n] * k / division), float(widths[n] / division), n, k)
        for n in range(count) for k in range(division)
    ]  # fmt: skip
    whole = end - begin
    if name == "held":
        return [(begin, whole, p, low) for p in chord]
    if name == "drone":
        return [(begin, whole, bass, low), (begin, whole, bass + 7, low)]
    if name == "bass":
        return [(float(b), float(w), bass + (12 if n % 2 else 0), low)
                for n, (b, w) in enumerate(zip(beats, widths, strict=False))]  # fmt: skip
    if name == "blocks":
        return [
            (float(b), float(w), p, low) for b, w in zip(beats, widths, strict=False) for p in chord
        ]
    if name == "repeated":
        return [(begin, whole, bass, low)] + [
            (t, w, p, high) for t, w, _, _ in cells for p in upper
        ]
    if name in {"waltz", "stride"}:
        rows = [(begin, float(widths[0]), bass, low)]
        if name == "stride":
            rows.append((begin, float(widths[0]), bass - 12, low))
            rest = [
                (t, w) for t, w, n, k in cells if (k == division - 1 if division > 1 else n % 2)
            ]
        else:
            rest = [(t, w) for t, w, n, k in cells if (n if count > 1 else k)]
        return rows + [(t, w, p, high) for t, w in rest for p in upper]
    if name in {"offbeat", "syncopated"}:
        late = [(t, w) for t, w, _, k in cells if k % 2 == 1 or (division == 3 and k)]
        if not late:
            late = [(float(b + w / 2), float(w)) for b, w in zip(beats, widths, strict=False)]
        rows = [(begin, whole, bass, low)] if name == "offbeat" or bar else []
        return rows + [(t, w, p, high) for t, w in late for p in upper]
    if name == "octaves":
        return [(t, w, bass + (12 if i % 2 else 0), low) for i, (t, w, _, _) in enumerate(cells)]
    if name == "late":
        return [(float(b), float(w), p, low)
                for n, (b, w) in enumerate(zip(beats, widths, strict=False)) if n or not bar
                for p in chord]  # fmt: skip
    return _broken(name, cells, bass, upper, low)


def _broken(name: str, cells: list[tuple[float, float, int, int]], bass: int, upper: list[int],
            part: int) -> list[Row]:  # fmt: skip
    if name == "alberti":
        order = [bass, upper[-1], upper[0], upper[-1]]
        if cells and len(cells) % 3 == 0 and len(cells) % 4:
            order = [bass, upper[0], upper[-1]]
    elif name == "up":
        order = [bass, *upper]
    elif name == "wide":
        order = [bass - 12, bass, *upper, *(p + 12 for p in upper)]
    elif name == "running":
        order = [bass + s for s in (0, 2, 4, 5, 7, 5, 4, 2)]
    else:
        order = [bass, *upper, *upper[-2:0:-1]]
    return [(t, w, order[i % len(order)], part) for i, (t, w, _, _) in enumerate(cells)]


def _divided(piece: Piece, rng: np.random.Generator) -> Piece:
    """Return a piece whose longer top notes are runs, here and there."""
    top = _top(piece)
    width = float(np.median(np.diff(piece.beats)))
    division = int(rng.choice((3, 6)) if is_compound(piece) else rng.choice((2, 3, 4, 4, 6)))
    cell, odds = width / division, rng.uniform(0.3, 1.0)
    long = top.length >= 2 * cell - TINY
    long &= rng.random(len(long)) < odds
    rows, way = [], rng.random()
    for onset, length, pitch in zip(
        top.onset[long], top.length[long], top.pitch[long], strict=True
    ):
        number = min(round(length / cell), 16)
        steps = np.cumsum(rng.choice((-2, 2, 1, -1), number)) if way < 0.5 else (
            np.array((0, 2, 0, -1) * 4) if way < 0.7 else np.array((0, -3, -7, -3) * 4))  # fmt: skip
        rows += [(onset + n * cell, cell, int(pitch + (steps[n - 1] if n else 0)), 0)
                 for n in range(number)]  # fmt: skip
    if not rows:
        return piece
    gone = set(zip(top.onset[long].tolist(), top.pitch[long].tolist(), strict=True))
    kept = np.array([(o, p) not in gone for o, p in
                     zip(piece.onset.tolist(), piece.pitch.tolist(), strict=True)])  # fmt: skip
    onset, lengths, pitches, part = (np.array(c) for c in zip(*rows, strict=True))
    return Piece(
        np.concatenate((piece.onset[kept], onset)), np.concatenate((piece.length[kept], lengths)),
        np.concatenate((piece.pitch[kept], pitches)), np.concatenate((piece.part[kept], part)),
        piece.bars, piece.beats,
    )  # fmt: skip


def _doubled(piece: Piece, rng: np.random.Generator) -> Piece:
    """Return a piece with its lower or its higher half doubled an octave away."""
    middle = np.median(piece.pitch)
    low = rng.random() < 0.5
    which = piece.pitch < middle if low else piece.pitch > middle
    columns = [
        np.concatenate((c, c[which])) for c in (piece.onset, piece.length, piece.pitch, piece.part)
    ]
    columns[2][len(piece.onset) :] += -12 if low else 12
    return Piece(*columns, piece.bars, piece.beats)
