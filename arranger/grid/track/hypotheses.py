"""Readings of one followed pulse: which of its levels is the beat, and where in it the beat falls.

A pulse that was followed right is hardly ever off in time; it may be half the beat, or two thirds of
it, or stand on the off-beats. So each pulse is read at each level (`LEVELS`), and at each level from
its two likeliest places, and every reading is described by the same features.

Features
--------
For a column c of the evidence, ``S(c, f)`` is the density of c at a fraction f of the beat, relative
to an even spread: 1 when the beat means nothing.

- ``on_c``, ``half_c``: log S(c, 0) and log S(c, 1/2)
- ``quarter``, ``third``: the same at 1/4 and 3/4, 1/3 and 2/3, mean over the columns
- ``two_c``, ``three_c``, ``four_c``: how unlike the beats are when counted in twos, threes, fours:
  standard deviation of log S(c, 0) between them
- ``period``, ``period_squared``: log2 of the period against `USUAL_SECONDS`
- ``attacks``: log2 of the attacks per beat; ``occupied``: share of beats on which something starts
- ``steady``: 1 for a pulse of constant tempo, 0 for one that bends; ``kept``: how well attacks keep to divisions of
  the pulse, the length of their mean vector; ``bend``: log2 of how much its period changes from beat
  to beat, root mean square of the logarithm
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import distinct, median
from arranger.grid.track.evidence import COLUMNS
from arranger.grid.track.smooth import kept_division

if TYPE_CHECKING:
    from arranger.columns import Floats
    from arranger.grid.track.evidence import Evidence

LEVELS = (1 / 3, 1 / 2, 2 / 3, 1.0, 4 / 3, 3 / 2, 2.0, 3.0, 4.0)
USUAL_SECONDS = 0.7
BINS = 24
"""Places in a beat that are told apart."""
PLACES = (0, 6, 8, 12, 16, 18)
"""Quarters and thirds of a beat, in bins."""
CYCLE = 12
"""Beats after which bars of two, three and four beats all begin anew."""
SPREAD_SECONDS = 0.030
FLOOR = 0.05
LEAST_BEND = 0.003
"""A change of period that is as good as none, as a share."""
LEAST_PERIOD = 1e-6
"""Seconds: a pulse that is followed through long silence may stand still."""
COUNTED = ("notes", "low", "long", "novel", "bass")

FEATURES = (
    *(f"on_{name}" for name in COLUMNS),
    *(f"half_{name}" for name in COLUMNS),
    "quarter",
    "third",
    *(f"two_{name}" for name in COUNTED),
    *(f"three_{name}" for name in COUNTED),
    *(f"four_{name}" for name in COUNTED),
    "period",
    "period_squared",
    "attacks",
    "occupied",
    "steady",
    "kept",
    "bend",
)

PHASE_FEATURES = tuple(f"{where}_{name}" for where in ("on", "half") for name in COLUMNS)


class Pulse(NamedTuple):
    """A followed pulse."""

    times: Floats
    """Seconds of every beat of it, shape (beats,)."""
    steady: float
    """1 when its tempo is constant (or the file's own), 1/2 when it hardly bends, 0 when it may."""
    from_file: bool = False
    """Whether it is the beat of the file's own tempo map."""


class Reading(NamedTuple):
    """One level and place of a pulse: beats are at pulse positions ``offset + k * level``."""

    pulse: Pulse
    level: float
    offset: float
    period_seconds: float
    features: Floats
    """Shape (len(FEATURES),)."""
    phase_score: float
    """How much worse its place is than the best at this level; at most 0."""

    def beats(self) -> Floats:
        """Return the times of its beats, in seconds."""
        count = len(self.pulse.times)
        at = np.arange(self.offset, count - 1 + 1e-9, self.level)
        result: Floats = np.interp(at, np.arange(count), self.pulse.times)
        return result


def read_pulse(
    pulse: Pulse,
    evidence: Evidence,
    shortest: float,
    longest: float,
    phase_weights: Floats,
) -> list[Reading]:
    """Return all readings of a pulse with a period between two, in seconds.

    ``phase_weights`` has the shape of `PHASE_FEATURES`; by it places are compared.
    """
    count = len(pulse.times)
    at = np.interp(evidence.seconds, pulse.times, np.arange(count))
    period = float(median(np.diff(pulse.times)))
    general = _general(pulse, at, evidence)
    found = []
    for level in LEVELS:
        seconds = period * level
        if shortest <= seconds <= longest:
            found += _read_level(pulse, general, evidence, at, level, seconds, phase_weights)
    return found


def phase_features(times: Floats, evidence: Evidence) -> Floats:
    """Return what speaks for the beat at each of `PLACES` of a pulse, if its level is right.

    Shape (len(PLACES), 2 * len(COLUMNS)): log S(c, 0) and log S(c, 1/2) for a beat at that place.
    """
    at = np.interp(evidence.seconds, times, np.arange(len(times)))
    density = _density(evidence, at, float(median(np.diff(times))))
    folded = np.log(density.mean(axis=1) + FLOOR)
    places = np.array(PLACES)
    return np.concatenate((folded[:, places], folded[:, (places + BINS // 2) % BINS])).T


def _general(pulse: Pulse, at: Floats, evidence: Evidence) -> tuple[float, float, float]:
    """Return the features that all readings of a pulse share: steady, kept and bend."""
    inner = pulse.times[(pulse.times > evidence.seconds[0]) & (pulse.times < evidence.seconds[-1])]
    periods = np.maximum(np.diff(inner), LEAST_PERIOD)
    change = np.diff(np.log(periods)) if len(inner) > 3 else np.zeros(1)
    kept = kept_division(at, evidence.columns[0])[1]
    return pulse.steady, kept, float(np.log2(np.sqrt(np.mean(change**2)) + LEAST_BEND))


def _read_level(
    pulse: Pulse,
    general: tuple[float, float, float],
    evidence: Evidence,
    at: Floats,
    level: float,
    seconds: float,
    phase_weights: Floats,
) -> list[Reading]:
    density = _density(evidence, at / level, seconds)
    folded = np.log(density.mean(axis=1) + FLOOR)
    half = np.roll(folded, -BINS // 2, axis=1)
    phase_scores = phase_weights @ np.concatenate((folded, half))
    found = []
    for place in _best_places(phase_scores):
        features = _features(density, place, at / level, seconds)
        features[-3:] = general
        offset = _refined(at, evidence, (place / BINS) * level, level, seconds)
        found.append(
            Reading(
                pulse=pulse,
                level=level,
                offset=offset,
                period_seconds=seconds,
                features=features,
                phase_score=float(phase_scores[place] - phase_scores.max()),
            )
        )
    return found


def _best_places(scores: Floats) -> list[int]:
    """Return the two best places of a beat that are well apart."""
    order = np.argsort(-scores)
    first = int(order[0])
    apart = np.abs((order - first + BINS // 2) % BINS - BINS // 2) > BINS // 8
    return [first, int(order[apart][0])]


def _density(evidence: Evidence, position: Floats, seconds: float) -> Floats:
    """Return the density of each column, shape (columns, CYCLE beats, BINS places)."""
    bins = np.floor(position * BINS + 0.5).astype(np.int64) % (CYCLE * BINS)
    counted = np.stack([np.bincount(bins, row, CYCLE * BINS) for row in evidence.columns])
    spread = float(np.clip(SPREAD_SECONDS / seconds, 0.03, 0.08)) * BINS
    reach = np.arange(CYCLE * BINS)
    distance = np.minimum(reach, CYCLE * BINS - reach)
    kernel = np.exp(-0.5 * (distance / spread) ** 2)
    kernel *= CYCLE * BINS / kernel.sum()
    smooth = np.fft.irfft(np.fft.rfft(counted) * np.fft.rfft(kernel), CYCLE * BINS)
    return np.clip(smooth, 0.0, None).reshape(len(COLUMNS), CYCLE, BINS)


def _features(
    density: Floats,
    place: int,
    position: Floats,
    seconds: float,
) -> Floats:
    turned = np.roll(density.reshape(len(COLUMNS), -1), -place, axis=1).reshape(density.shape)
    folded = np.log(turned.mean(axis=1) + FLOOR)
    beats = np.log(turned[[COLUMNS.index(name) for name in COUNTED], :, 0] + 5 * FLOOR)
    unlike = [
        beats.reshape(len(COUNTED), CYCLE // group, group).mean(axis=1).std(axis=1)
        for group in (2, 3, 4)
    ]
    offset = position - place / BINS
    near = np.rint(offset)
    total = max(near[-1] - near[0] + 1.0, 1.0)
    occupied = len(distinct(near[np.abs(offset - near) < 0.1])) / total
    period = np.log2(seconds / USUAL_SECONDS)
    return np.concatenate(
        (
            folded[:, 0],
            folded[:, BINS // 2],
            [folded[:, [BINS // 4, 3 * BINS // 4]].mean()],
            [folded[:, [BINS // 3, 2 * BINS // 3]].mean()],
            *unlike,
            [
                period,
                period**2,
                np.log2(max(len(position) / total, 0.05)),
                occupied,
                0.0,
                0.0,
                0.0,
            ],
        )
    )


def _refined(at: Floats, evidence: Evidence, offset: float, level: float, seconds: float) -> float:
    """Return the offset moved to where the attacks near it really stand on average."""
    miss = (at - offset) / level
    miss -= np.rint(miss)
    weight = evidence.columns[0] * np.exp(-0.5 * (miss * seconds / SPREAD_SECONDS) ** 2)
    if weight.sum() <= 0.0:
        return offset
    return float((offset + level * (weight * miss).sum() / weight.sum()) % level)
