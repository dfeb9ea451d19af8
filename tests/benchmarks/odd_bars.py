"""Put bars of half the length into a piece, or cut some to half: what `train_bars` learns odd bars from.

Real songs have them where a phrase ends (common practice, no source): a half bar more, on which the last chord is
held or played again, or a half bar less. So bars are likelier in whose second half little starts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from tests.benchmarks.performing import Floats, Ints, Piece

MOST = 4
PHRASE = 4
"""Bars of a phrase: every so many bars an odd one is likelier."""


class _Cut(NamedTuple):
    """From a place on, so many quarters are taken out, or (negative) put in."""

    at: float
    quarters: float


def with_odd_bars(piece: Piece, known: np.ndarray, rng: np.random.Generator) -> Piece:
    """Return a piece with up to `MOST` bars more or less by their half; bars in it stay as many."""
    sizes = np.diff(piece.bars)
    usual = float(np.median(sizes))
    plain = (np.abs(sizes - usual) < 1e-3) & known[:-1] & known[1:]
    plain[:1] = plain[-1:] = False
    places = np.flatnonzero(plain)
    if len(places) < 2 * PHRASE:
        return piece
    begin = piece.bars[places]
    inside = np.searchsorted(piece.onset, begin + usual) - np.searchsorted(
        piece.onset, begin + usual / 2
    )
    odds = np.exp(-0.25 * inside) * np.where((places + 1) % PHRASE == 0, 3.0, 1.0) + 1e-3
    count = int(rng.integers(1, MOST + 1))
    chosen = rng.choice(places, count, replace=False, p=odds / odds.sum())
    for place in sorted(chosen.tolist(), reverse=True):
        way = rng.random()
        half = usual / 2
        if way < 0.4:
            piece = _without(piece, float(piece.bars[place]) + half, half)
        else:
            piece = _longer(piece, int(place), half, again=way < 0.75)
    return piece


def _without(piece: Piece, at: float, size: float) -> Piece:
    """Return the piece without the music from a place to the next bar line, ``size`` quarters."""
    kept = (piece.onset < at - 1e-4) | (piece.onset >= at + size - 1e-4)
    onset, length = piece.onset[kept], piece.length[kept]
    end = onset + length
    end = np.where(end > at + size, end - size, np.minimum(end, at))
    onset = np.where(onset >= at + size - 1e-4, onset - size, onset)
    loud = None if piece.loud is None else piece.loud[kept]
    bars = np.where(piece.bars > at + 1e-4, piece.bars - size, piece.bars)
    beats = piece.beats[(piece.beats < at - 1e-4) | (piece.beats >= at + size - 1e-4)]
    beats = np.where(beats > at - 1e-4, beats - size, beats)
    return piece._replace(
        onset=onset, length=np.maximum(end - onset, 0.05), pitch=piece.pitch[kept],
        part=piece.part[kept], loud=loud, bars=bars, beats=beats,
    )  # fmt: skip


def _longer(piece: Piece, place: int, size: float, *, again: bool) -> Piece:
    """Return the piece with a bar longer at its end; ``again``: what its last part plays comes once more."""
    at = float(piece.bars[place + 1])
    later = piece.onset >= at - 1e-4
    onset = np.where(later, piece.onset + size, piece.onset)
    end = piece.onset + piece.length
    over = ~later & (end >= at - 0.3)
    end = np.where(later | over, end + size, end)
    columns: list[Floats | Ints] = [onset, end - onset, piece.pitch, piece.part]
    loud = piece.loud
    if again:
        columns[1] = np.where(
            over & (piece.onset + piece.length < at + 0.3), piece.length, columns[1]
        )
        copied = np.flatnonzero((piece.onset >= at - size - 1e-4) & ~later)
        more = (onset[copied] + size, np.minimum(piece.length[copied], at - onset[copied]))
        added = (*more, piece.pitch[copied], piece.part[copied])
        columns = [np.concatenate(pair) for pair in zip(columns, added, strict=True)]
        loud = None if loud is None else np.concatenate((loud, loud[copied]))
    order = np.argsort(columns[0], kind="stable")
    bars = np.where(piece.bars > at - 1e-4, piece.bars + size, piece.bars)
    step = float(np.median(np.diff(piece.beats)))
    before, after = piece.beats[piece.beats < at - 1e-4], piece.beats[piece.beats >= at - 1e-4]
    beats = np.concatenate((before, np.arange(at, at + size - 1e-4, step), after + size))
    return piece._replace(
        onset=columns[0][order], length=columns[1][order], pitch=columns[2][order],
        part=columns[3][order], loud=None if loud is None else loud[order], bars=bars, beats=beats,
    )  # fmt: skip
