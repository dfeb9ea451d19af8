"""How sure a reading of the beat is, and which others would be next: another level, or another place."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Floats
    from arranger.grid.track.readings import Reading

NEAR_TEMPO = 0.12
"""Largest logarithm of the ratio of two tempos that are taken as the same level."""
SAME_PLACE = 0.15
"""How far beats may be from those of another reading, on average, to be the same; in beats."""
MOST = 2


class Rival(NamedTuple):
    """Another reading of the beat."""

    bpm: float
    moved: bool
    """Whether it has the tempo of the chosen one, but beats elsewhere."""
    beats: Floats
    """Seconds of its beats, from the likeliest reading of the kind."""
    likelihood: float


def rivals(
    readings: Sequence[Reading], likelihood: Floats, best: int
) -> tuple[float, tuple[Rival, ...]]:
    """Return how likely the best reading is, with all that come to the same, and the likeliest others.

    ``likelihood`` has shape (readings,) and sums to 1.
    """
    chosen = readings[best]
    beats = chosen.beats
    groups: list[tuple[int, float]] = []
    sure = 0.0
    for index in np.argsort(-likelihood, kind="stable").tolist():
        share = float(likelihood[index])
        if _same(readings[index], chosen, beats):
            sure += share
            continue
        for number, (head, sum_of) in enumerate(groups):
            if _same(readings[index], readings[head], readings[head].beats):
                groups[number] = (head, sum_of + share)
                break
        else:
            if len(groups) < 2 * MOST:
                groups.append((index, share))
    groups.sort(key=lambda each: -each[1])
    found = tuple(
        Rival(
            60.0 / readings[head].period,
            tempo_gap(readings[head].period, chosen.period) < NEAR_TEMPO,
            readings[head].beats,
            share,
        )
        for head, share in groups[:MOST]
    )
    return sure, found


def _same(one: Reading, other: Reading, beats: Floats) -> bool:
    """Return whether a reading has the beats of another."""
    if tempo_gap(one.period, other.period) >= NEAR_TEMPO:
        return False
    mine = one.beats
    near = np.clip(np.searchsorted(beats, mine), 1, len(beats) - 1)
    away = np.minimum(np.abs(mine - beats[near - 1]), np.abs(mine - beats[near]))
    inside = (mine >= beats[0]) & (mine <= beats[-1])
    if not inside.any():
        return True
    return float(away[inside].mean()) < SAME_PLACE * other.period


def tempo_gap(period: float, other: float) -> float:
    """Return how far apart the tempos of two periods are, as a logarithm."""
    return abs(float(np.log(period / other)))
