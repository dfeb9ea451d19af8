"""`--transpose auto`: the key in which the engine plays the song best."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.engine.tuning import folded
from arranger.reduce.worth.note_table import totals

if TYPE_CHECKING:
    from arranger.columns import Floats
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
    song: Song, engine: Engine, grid: Grid, weights: Weights, settings: ReduceSettings
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
    price = np.array([_price(engine, pitch) for pitch in range(128)])
    used = np.flatnonzero(sounding)
    best, best_cost = 0, np.inf
    for shift in sorted(range(-REACH, REACH + 1), key=lambda s: (abs(s), -s)):
        moved = np.clip(used + shift, 0, 127)
        cost = float(np.dot(sounding[used], price[moved]))
        cost += DISTANCE_COST * abs(shift)
        if cost < best_cost - 1e-9:
            best, best_cost = shift, cost
    return best


def _sounding_steps(song: Song, grid: Grid, weights: Weights) -> Floats:
    """Return the share of heard time that each MIDI pitch has; shape (128,)."""
    pitch = song.columns.pitch
    used = ~song.columns.drum & (grid.onset_steps >= 0)
    steps = (grid.end_steps - grid.onset_steps).astype(np.float64)
    heard = steps * (weights.tune + weights.bass + 0.05)
    found = totals(pitch[used], heard[used], 128)
    return found / max(float(found.sum()), 1e-9)


def _price(engine: Engine, pitch: int) -> float:
    """Return what a pitch costs: how far it is off where it is played, and whether it is folded."""
    found = folded(engine, pitch)
    if found is None:
        return 2 * FOLD_COST
    folds = pitch not in engine.pitches
    return float((engine.pitches[found].cents / CENTS_SCALE) ** 2 + FOLD_COST * folds)
