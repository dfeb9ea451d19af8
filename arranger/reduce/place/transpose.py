"""`--transpose auto`: the key in which the engine plays the song best."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.reduce.worth.table import totals

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.engine.model import Engine
    from arranger.grid.model import Grid
    from arranger.reduce.worth.weights import Weights
    from arranger.settings import ReduceSettings
    from arranger.song.model import Song

REACH = 12
"""Semitones up and down that are tried."""
CENTS_SCALE = 12.0
"""A mistuning of so many cents, all the time, costs 1 (it grows with its square)."""
FOLD_COST = 2.0
"""A note that must be folded costs so much of its time, in the same unit."""
DISTANCE_COST = 0.02
"""A semitone away from the original key costs so much."""


def choose_transposition(
    song: Song,
    engine: Engine,
    grid: Grid,
    weights: Weights,
    settings: ReduceSettings,
) -> int:
    """Return the semitones to move the song by: ``settings.transpose``, or `best_key` if "auto"."""
    if settings.transpose != "auto":
        return int(settings.transpose)
    return best_key(song, engine, grid, weights)


def best_key(song: Song, engine: Engine, grid: Grid, weights: Weights) -> int:
    """Return the semitones that bring the song into the key which the engine plays best.

    The cost of a key is the mean over the time that each pitch sounds, weighed by how likely the
    note is to be heard (tune and bass), of ``(cents / CENTS_SCALE) ** 2`` in the engine's table, of
    folds out of its range, and of the distance to the original key. Of equal keys the nearest wins,
    upwards first.
    """
    sounding = _sounding_steps(song, grid, weights)
    cents = np.full(128, np.nan)
    for pitch, entry in engine.pitches.items():
        if 0 <= pitch < 128:
            cents[pitch] = entry.cents
    price, folded = _prices(cents)
    used = np.flatnonzero(sounding)
    best, best_cost = 0, np.inf
    for shift in sorted(range(-REACH, REACH + 1), key=lambda s: (abs(s), -s)):
        moved = np.clip(used + shift, 0, 127)
        cost = float(np.dot(sounding[used], price[moved] + FOLD_COST * folded[moved]))
        cost += DISTANCE_COST * abs(shift)
        if cost < best_cost - 1e-9:
            best, best_cost = shift, cost
    return best


def _sounding_steps(song: Song, grid: Grid, weights: Weights) -> NDArray[np.float64]:
    """Return the share of heard time that each MIDI pitch has; shape (128,)."""
    pitch = song.columns.pitch
    used = ~song.columns.drum & (grid.onset_steps >= 0)
    steps = (grid.end_steps - grid.onset_steps).astype(np.float64)
    heard = steps * (weights.tune + weights.bass + 0.05)
    found = totals(pitch[used], heard[used], 128)
    return found / max(float(found.sum()), 1e-9)


def _prices(cents: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the price of mistuning of each pitch, after folding, and whether it must fold."""
    price = np.zeros(128)
    folded = np.isnan(cents).astype(np.float64)
    for pitch in range(128):
        octaves = [p for p in range(pitch % 12, 128, 12) if not np.isnan(cents[p])]
        if octaves:
            nearest = min(octaves, key=lambda p: abs(p - pitch))
            price[pitch] = (cents[nearest] / CENTS_SCALE) ** 2
        else:
            folded[pitch] = 2.0
    return price, folded
