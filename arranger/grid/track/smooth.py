"""Smoothing a beat: the beat times that suit the attacks and change their spacing least.

Each attack near a division of a beat is one observation of the two beats around it. The beat times
b minimise

    sum w (t - (1 - f) b[k] - f b[k + 1])^2  +  stiffness * sum (b[k + 1] - 2 b[k] + b[k - 1])^2

where an attack at time t stands at beat k and a fraction f that is a whole number of divisions. The
weights w fall with the distance to that division, so an attack that belongs to none has no say. The
normal equations have five diagonals and are solved in linear time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.columns import Floats

ROUNDS = 4
NEAR = 0.25
"""Distance to a division, in divisions, at which an attack's weight has fallen to 0.6."""
DIVISIONS = (4, 3, 2, 6)
STRAIGHT_BONUS = 0.05


def kept_division(beats: Floats, weight: Floats) -> tuple[int, float]:
    """Return the division of the beat whose multiples the attacks keep best, and how well (0..1)."""
    turns = np.exp(2j * np.pi * np.outer(DIVISIONS, beats))
    strength = np.abs(turns @ weight) / max(weight.sum(), 1e-9)
    best = int((strength + STRAIGHT_BONUS * (np.array(DIVISIONS) == 4)).argmax())
    return DIVISIONS[best], float(strength[best])


def smooth_beats(times: Floats, seconds: Floats, strength: Floats, stiffness: float) -> Floats:
    """Return smoothed beat times, shape as ``times``, from attacks and their strength."""
    count = len(times)
    if count < 4:
        return times
    numbers = np.arange(count, dtype=np.float64)
    for _ in range(ROUNDS):
        at = np.interp(seconds, times, numbers)
        division = kept_division(at, strength)[0]
        target = np.rint(at * division) / division
        miss = (at - target) * division
        weight = strength * np.exp(-0.5 * (miss / NEAR) ** 2)
        left = np.clip(np.floor(target).astype(np.int64), 0, count - 2)
        part = target - left
        main = np.bincount(left, weight * (1 - part) ** 2, count)
        main += np.bincount(left + 1, weight * part**2, count)
        beside = np.bincount(left, weight * part * (1 - part), count)[:-1]
        right = np.bincount(left, weight * (1 - part) * seconds, count)
        right += np.bincount(left + 1, weight * part * seconds, count)
        times = _solve(np.stack((main, right)), beside, stiffness)
        times = np.maximum.accumulate(times + 1e-6 * numbers)
    return times


def _solve(main_and_right: Floats, beside: NDArray[Any], stiffness: float) -> Floats:
    """Solve the normal equations by the factorisation L D L^T of a band of five diagonals.

    ``main_and_right``, shape (2, beats): the observations' diagonal and right side; ``beside``, shape
    (beats - 1,): their second diagonal.
    """
    main, right = main_and_right
    count = len(main)
    curve0 = np.full(count, 6.0)
    curve0[[0, -1]], curve0[[1, -2]] = 1.0, 5.0
    curve1 = np.full(count - 1, -4.0)
    curve1[[0, -1]] = -2.0
    diagonal = (main + stiffness * curve0 + 1e-9).tolist()
    next1 = (beside + stiffness * curve1).tolist()
    value = right.tolist()
    lower1, lower2 = [0.0] * count, [0.0] * count
    for row in range(count):
        pivot = diagonal[row]
        if row + 1 < count:
            lower1[row] = next1[row] / pivot
            diagonal[row + 1] -= lower1[row] * next1[row]
            value[row + 1] -= lower1[row] * value[row]
        if row + 2 < count:
            lower2[row] = stiffness / pivot
            next1[row + 1] -= lower2[row] * next1[row]
            diagonal[row + 2] -= lower2[row] * stiffness
            value[row + 2] -= lower2[row] * value[row]
    result = [0.0] * (count + 2)
    for row in reversed(range(count)):
        result[row] = value[row] / diagonal[row]
        result[row] -= lower1[row] * result[row + 1] + lower2[row] * result[row + 2]
    return np.array(result[:count])
