"""Readings of what was heard: the best beat, and the best at other tempos, or between its beats.

Each is described by the same features; a weighted sum of them (``weights.json``, trained by
``tests/benchmarks/train_readings.py``) is the logarithm of how likely it is against the others.

=================  =============================================================
feature            a reading has much of it when
=================  =============================================================
`beats`, `bars`    its beats and its bar lines gain much odds, a second
`odds`             its beats gain much each
`period`           its period is long: logarithm against `USUAL_SECONDS`
`period_squared`   its period is unusual
`first`            it is the best of all periods
`shifted`          it goes between the beats of the best
=================  =============================================================
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import median
from arranger.grid.track.follow import PERIODS, follow_beats
from arranger.grid.track.networks.beat_frames import FRAMES_A_SECOND
from arranger.grid.track.networks.beats_heard import BEAT_BIAS, SUREST

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.track.networks.bars_heard import LikeliestBars
    from arranger.grid.track.networks.beats_heard import HeardSong

FEATURES = ("beats", "bars", "odds", "period", "period_squared", "first", "shifted")
RATIOS = {
    "half": 2.0, "double": 1 / 2, "two thirds": 3 / 2, "three halves": 2 / 3, "a third": 3.0,
    "three times": 1 / 3, "three quarters": 4 / 3, "four thirds": 3 / 4,
}  # fmt: skip
"""Other tempos, and what they make of the period."""
AROUND = 1.3
"""A reading at another tempo may have periods up to so many times as long or as short."""
BESIDE = 0.2
"""A reading between the beats keeps so far off them, in beats."""
FEWEST_BEATS = 4
USUAL_SECONDS = 0.6
FORCED = 200.0
"""Log odds of a beat that the user gives."""


class Reading(NamedTuple):
    """One way to hear beats and bars."""

    kind: str
    """"best", one of `RATIOS` (its tempo against the best's), "shifted" or "file"."""
    beats: Floats
    """Seconds, rising; at least `FEWEST_BEATS`."""
    bars: LikeliestBars | None
    features: Floats
    """Shape (len(FEATURES),)."""

    @property
    def period(self) -> float:
        """The median period in seconds."""
        return float(median(np.diff(self.beats)))


def readings_of(
    heard: HeardSong, span: float, shortest: float, longest: float, first_beat: float | None = None
) -> list[Reading]:
    """Return the best reading, then others.

    ``span``: seconds from the first attack to the last.
    ``shortest``, ``longest``: seconds that a beat may last.
    ``first_beat``: seconds of a beat that is known.
    """
    odds = np.minimum(heard.odds[:, 0] + BEAT_BIAS, SUREST)
    if first_beat is not None:
        at = round(float(heard.frames(np.array(first_beat))))
        odds[min(max(at, 0), len(odds) - 1)] += FORCED
    best = _followed("best", heard, odds, span, periods_between(shortest, longest))
    if best is None:
        return []
    found: list[Reading | None] = [best]
    for kind, ratio in RATIOS.items():
        period = best.period * ratio
        periods = periods_between(
            max(period / AROUND, shortest), min(period * AROUND, longest), nearest=False
        )
        found.append(_followed(kind, heard, odds, span, periods))
    if first_beat is None:
        found.append(_between(heard, odds, span, best, shortest, longest))
    return [reading for reading in found if reading is not None]


def periods_between(shortest: float, longest: float, *, nearest: bool = True) -> Ints:
    """Return periods in frames between two in seconds; ``nearest``: at least the one in the middle."""
    low, high = shortest * FRAMES_A_SECOND, longest * FRAMES_A_SECOND
    found = PERIODS[(low - 1e-9 <= PERIODS) & (high + 1e-9 >= PERIODS)]
    if not len(found) and nearest:
        found = np.arange(np.ceil(low), np.floor(high) + 1, dtype=np.int64)
        if not len(found):
            found = np.array([np.rint((low + high) / 2)], dtype=np.int64)
        found = np.maximum(found[:: max(len(found) // len(PERIODS), 1)], 1)
    return found


def _followed(
    kind: str, heard: HeardSong, odds: Floats, span: float, periods: Ints
) -> Reading | None:
    if not len(periods):
        return None
    found = follow_beats(odds, periods)
    if len(found.frames) < FEWEST_BEATS:
        return None
    beats = heard.first + found.frames / FRAMES_A_SECOND
    return reading_of(kind, heard, beats, found.gained, span)


def _between(
    heard: HeardSong, odds: Floats, span: float, best: Reading, shortest: float, longest: float
) -> Reading | None:
    """Return the best reading of about the same period that keeps off the beats of the best."""
    periods = periods_between(
        max(best.period / AROUND, shortest), min(best.period * AROUND, longest), nearest=False
    )
    reach = max(int(best.period * FRAMES_A_SECOND * BESIDE), 2)
    at = np.rint(heard.frames(best.beats)).astype(np.int64)[:, None] + np.arange(-reach, reach + 1)
    taken = odds.copy()
    taken[at[(at >= 0) & (at < len(odds))]] = -SUREST
    return _followed("shifted", heard, taken, span, periods)


def reading_of(kind: str, heard: HeardSong, beats: Floats, gained: float, span: float) -> Reading:
    """Return a reading with its bars and features; ``gained``: log odds that its beats gain together."""
    bars = heard.lines(beats)
    period = float(np.log(float(median(np.diff(beats))) / USUAL_SECONDS))
    features = np.array(
        (
            gained / span,
            0.0 if bars is None else bars.score / span,
            float(heard.beat_odds(beats).mean()),
            period,
            period**2,
            float(kind in {"best", "file"}),
            float(kind == "shifted"),
        )
    )
    return Reading(kind, beats, bars, features)
