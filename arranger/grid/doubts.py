"""What isn't sure of beat and bars, and the other readings, each with the option that chooses it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.grid.model import Doubt, OtherReading
from arranger.grid.track.bars_heard import BEAT_LENGTHS

if TYPE_CHECKING:
    from arranger.columns import Floats
    from arranger.grid.disputed import HeardBars
    from arranger.grid.track.beat import TrackedBeat
    from arranger.grid.track.rivals import Rival
    from arranger.song.model import Song

SURE = 0.9
"""A beat that is less sure is doubted."""
LEVELS = {
    1 / 3: "a third as fast",
    1 / 2: "half as fast",
    2 / 3: "two thirds as fast",
    3 / 2: "half as fast again",
    2.0: "twice as fast",
    3.0: "three times as fast",
}
NEAR_LEVEL = 0.12
NEARLY_AS_LIKELY, LEAST_ODDS = 0.85, 0.3
"""Bars are doubted if others gain so much of what they do, or they gain less than this a bar.
Not calibrated: log odds of one network."""


def beat_doubt(beat: TrackedBeat, first_line: float) -> Doubt | None:
    """Return the doubt of a tracked beat, if there is one; ``first_line`` is the time of its first bar line."""
    if beat.sure >= SURE or not beat.others:
        return None
    others = tuple(_other_beat(rival, beat.bpm, first_line) for rival in beat.others)
    return Doubt(f"the beat of {beat.bpm:.3g} a minute was found by ear", beat.sure, others)


def _other_beat(rival: Rival, bpm: float, first_line: float) -> OtherReading:
    if rival.moved:
        seconds = float(rival.beats[np.abs(rival.beats - first_line).argmin()])
        return OtherReading("moved by part of a beat", f"--first-beat {max(seconds, 0.0):.2f}")
    ratio = rival.bpm / bpm
    level = min(LEVELS, key=lambda each: abs(np.log(ratio / each)))
    near = abs(np.log(ratio / level)) < NEAR_LEVEL
    return OtherReading(LEVELS[level] if near else "another tempo", f"--tempo {rival.bpm:.4g}")


def bars_doubt(odds: Floats, lines: Floats, seconds: Floats) -> Doubt | None:
    """Return the doubt of bars that were heard on a tracked beat, if little speaks for them or as much for others.

    Parameters
    ----------
    odds
        Shape (beats,): log odds of a bar line at each beat.
    lines
        The beats that begin bars.
    seconds
        Shape (beats,): when the beats are.
    """
    at = np.rint(lines).astype(np.int64)
    costs = dict(BEAT_LENGTHS)
    sizes = np.diff(at)
    size = int(np.bincount(sizes).argmax()) if len(sizes) else 0
    own = float(odds[at[at < len(odds)]].sum()) - sum(
        costs.get(each, 1.0) for each in sizes.tolist()
    )
    moved: list[tuple[float, float, int, int]] = []
    counted: list[tuple[float, float, int, int]] = []
    for other, cost in BEAT_LENGTHS:
        for place in range(other):
            heard = odds[place::other] - cost
            row = float(heard.mean()), float(heard.sum()), other, place
            if other != size:
                counted.append(row)
            elif np.mean(at % other == place) <= 0.5:
                moved.append(row)
    best = sorted((max(kind) for kind in (moved, counted) if kind), reverse=True)
    if own >= LEAST_ODDS * len(sizes):
        best = [each for each in best if each[1] > NEARLY_AS_LIKELY * own]
    others = tuple(_other_bars(other, place, size, seconds) for _, _, other, place in best)
    return Doubt(f"bars of {size}/4 were found by ear", None, others) if others else None


def _other_bars(size: int, place: int, own: int, seconds: Floats) -> OtherReading:
    first = f"--first-beat {max(float(seconds[place]), 0.0):.2f}"
    if size == own:
        return OtherReading("the same from another beat", first)
    return OtherReading(f"bars of {size}/4", f"--metre {size}/4 {first}")


def contradicted_bars(heard: HeardBars, song: Song) -> Doubt:
    """Return the doubt of bars that the file states and the music contradicts."""
    stated = "{}/{}".format(*song.metres[0][1:])
    metre = "{}/{}".format(*heard.metre)
    if heard.moved:
        what = f"the file states where bars of {stated} begin, but the music has them elsewhere"
        other = OtherReading("where the music has them", f"--pickup {heard.pickup}")
    else:
        what = f"the file states {stated}, but the music goes in {metre}"
        other = OtherReading("as the music goes", f"--metre {metre} --pickup {heard.pickup}")
    return Doubt(what, None, (other,))
