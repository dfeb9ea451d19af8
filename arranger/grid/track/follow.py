"""Following a beat through the attacks of a song, by dynamic programming.

A hypothesis is a beat that has reached some attack with some period. It goes on to a later attack
by a whole number of its periods, gains that attack's strength, pays for missing the attack's time,
for beats that nothing starts on, and takes a share of the error into its period. For each attack the
best hypothesis of each period band is kept; the best one at the end of the song is traced back.

The strength of an attack has mean 1, so that all prices are in average attacks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from arranger.columns import Floats, Ints

_compiled: Callable[..., None] | None
try:
    from arranger.grid.track._follow import followed as _compiled
except ImportError:  # no compiler where this was installed
    _compiled = None

BANDS = 9
"""Period bands kept for each attack, evenly over `RANGE`."""
RANGE = 0.50
"""How far the period may leave the asked one either way, as a logarithm: a ritardando may halve it."""
FEWEST_BACK, MOST_BACK = 6, 48
"""How many attacks back the beat before may be."""
BACK_PERIODS = 2.2
"""The beat before is looked for so far back, unless that is fewer than `FEWEST_BACK` attacks."""
EMPTY_BEAT = 0.9
"""Price of a beat without an attack."""
BEAT = 0.6
"""Price of any beat: what its attack must be worth at least."""


class Start(NamedTuple):
    """Where a hypothesis starts from."""

    period_seconds: float
    miss_price: float
    """Of missing an attack's time by a whole period, squared; spread over the beats passed."""
    adapt: float
    """Share of an error that goes into the period."""


class Followed(NamedTuple):
    """A beat that was followed through a song."""

    attacks: Ints
    """Indices of the attacks that beats fall on."""
    beats: Ints
    """The number of the beat on each of them: increasing, from 0."""
    score: float


def follow_beats(seconds: Floats, strength: Floats, starts: tuple[Start, ...]) -> list[Followed]:
    """Return the best beat for each start.

    Parameters
    ----------
    seconds, strength
        Shape (attacks,), in order of time; at least one.
    starts
        Each is followed by itself; together they cost little more than one.
    """
    count, many = len(seconds), len(starts)
    periods = np.array([start.period_seconds for start in starts])
    earliest = np.searchsorted(seconds, seconds - BACK_PERIODS * periods.max())
    earliest = np.clip(
        earliest, np.arange(count) - MOST_BACK, np.maximum(np.arange(count) - FEWEST_BACK, 0)
    )
    earliest = np.maximum(earliest, 0)
    if _compiled is None:
        score, came, passed = hypotheses_in_numpy(seconds, strength, starts, earliest)
    else:
        score, passed = np.empty((2, many, count, BANDS))
        came = np.empty((many, count, BANDS), dtype=np.int64)
        given = (np.ascontiguousarray(each) for each in (seconds, strength, earliest))
        _compiled(*given, np.array(starts), score, came, passed, RANGE, EMPTY_BEAT, BEAT)
    left = EMPTY_BEAT * (seconds[-1] - seconds)[None, :, None] / periods[:, None, None]
    return [_trace(score[h] - left[h], came[h], passed[h]) for h in range(many)]


def hypotheses_in_numpy(
    seconds: Floats, strength: Floats, starts: tuple[Start, ...], earliest: Ints
) -> tuple[Floats, Ints, Floats]:
    """Return score, origin and beats passed of each hypothesis; of shape (starts, attacks, BANDS).

    ``earliest`` says for each attack from which on the beat before it is looked for.
    """
    count, many = len(seconds), len(starts)
    periods = np.array([start.period_seconds for start in starts])
    price = np.array([start.miss_price for start in starts])[:, None]
    adapt = np.array([start.adapt for start in starts])[:, None]
    middle = np.log(periods)[:, None]
    score = np.full((many, count, BANDS), -np.inf)
    period = np.repeat(periods, count * BANDS).reshape(many, count, BANDS)
    came = np.full((many, count, BANDS), -1, dtype=np.int64)
    passed = np.zeros((many, count, BANDS))
    rows = np.arange(many)[:, None]
    begin = -EMPTY_BEAT * (seconds - seconds[0])[None, :] / periods[:, None]
    for now in range(count):
        first = int(earliest[now])
        if now > first:
            old = period[:, first:now].reshape(many, -1)
            gap = np.repeat(seconds[now] - seconds[first:now], BANDS)[None, :]
            beats = np.maximum(np.rint(gap / old), 1.0)
            miss = gap / old - beats
            gain = score[:, first:now].reshape(many, -1) - price * miss**2 / beats
            gain -= EMPTY_BEAT * beats
            new = old * (1.0 + adapt * miss / beats)
            band = np.rint((np.log(new) - middle) * ((BANDS - 1) / (2 * RANGE)) + BANDS // 2)
            np.clip(band, -1, BANDS, out=band)
            gain[(band < 0) | (band == BANDS)] = -np.inf
            order = np.argsort(gain, axis=1, kind="stable")
            # The first and the last column take what falls outside of all bands.
            best = np.zeros((many, BANDS + 2), dtype=np.int64)
            # Of several values for one band the last is kept, which is the best.
            best[rows, band[rows, order].astype(np.int64) + 1] = order
            best = best[:, 1:-1]
            fits = band[rows, best] == np.arange(BANDS)
            score[:, now] = np.where(fits, gain[rows, best] + EMPTY_BEAT, -np.inf)
            period[:, now] = np.where(fits, new[rows, best], periods[:, None])
            came[:, now] = best + first * BANDS
            passed[:, now] = beats[rows, best]
        fresh = score[:, now, BANDS // 2] < begin[:, now]
        score[fresh, now, BANDS // 2] = begin[fresh, now]
        period[fresh, now, BANDS // 2] = periods[fresh]
        came[fresh, now, BANDS // 2] = -1
        score[:, now] += strength[now] - BEAT
    return score, came, passed


def _trace(score: Floats, came: Ints, passed: Floats) -> Followed:
    at = int(score.argmax())
    best = float(score.flat[at])
    attacks, steps = [], []
    while at >= 0:
        attacks.append(at // BANDS)
        steps.append(int(passed.flat[at]))
        at = int(came.flat[at])
    beats = np.concatenate(([0], np.cumsum(steps[:-1][::-1], dtype=np.int64)))
    return Followed(np.array(attacks[::-1]), beats, best)
