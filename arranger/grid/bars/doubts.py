"""What isn't sure of beat and bars, and the other readings, each with the option that chooses it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.grid.bars.metre_names import metre_of_beats, named_bars
from arranger.grid.doubt import Doubt, OtherReading
from arranger.grid.track.bars_sure import weigh_bars
from arranger.grid.track.networks.bars_heard import BEAT_LENGTHS

if TYPE_CHECKING:
    from collections.abc import Collection

    from arranger.columns import Floats, Ints
    from arranger.grid.track.bars_sure import EvenBars, WeighedBars
    from arranger.grid.track.beat import TrackedBeat
    from arranger.grid.track.rivals import Rival
    from arranger.song.model import Song

SURE, SURE_BARS = 0.9, 0.8
"""A beat that is less sure is doubted, and bars."""
LEVELS = {
    1 / 3: "a third as fast",
    1 / 2: "half as fast",
    2 / 3: "two thirds as fast",
    3 / 2: "half as fast again",
    2.0: "twice as fast",
    3.0: "three times as fast",
}
NEAR_LEVEL = 0.12
UNSAID = "the file doesn't say where bars are; they are taken to be of 4/4"


def beat_doubt(beat: TrackedBeat, first_line: float) -> Doubt | None:
    """Return the doubt of a tracked beat, if there is one; ``first_line`` is the time of its first bar line."""
    if beat.sure >= SURE or not beat.others:
        return None
    others = tuple(_other_beat(rival, beat.bpm, first_line) for rival in beat.others)
    return Doubt("beat", f"the beat of {beat.bpm:.3g} a minute was found by ear", beat.sure, others)


def _other_beat(rival: Rival, bpm: float, first_line: float) -> OtherReading:
    if rival.moved:
        seconds = float(rival.beats[np.abs(rival.beats - first_line).argmin()])
        return OtherReading("moved by part of a beat", f"--first-beat {max(seconds, 0.0):.2f}")
    ratio = rival.bpm / bpm
    level = min(LEVELS, key=lambda each: abs(np.log(ratio / each)))
    near = abs(np.log(ratio / level)) < NEAR_LEVEL
    return OtherReading(LEVELS[level] if near else "another tempo", f"--tempo {rival.bpm:.4g}")


def bars_doubt(
    odds: Floats, lines: Ints, beat: TrackedBeat, length: float, *, said: bool
) -> Doubt | None:
    """Return the doubt of bars on a tracked beat, if they aren't sure.

    ``odds``: shape (beats,): log odds of a bar line at each beat.
    ``lines``: the beats that begin bars, and where the last ends.
    ``length``: of a beat, in quarter notes.
    ``said``: whether the file or the user says how long bars are; then only their place can be
    doubted.
    """
    weighed = weigh_bars(odds, lines, BEAT_LENGTHS)
    sure = weighed.sure("bars_placed" if said else "bars_tracked", weighed.score, beat.sure)
    if sure >= SURE_BARS:
        return None

    def other(bars: EvenBars) -> OtherReading:
        first = f"--first-beat {max(float(beat.seconds[bars.first]), 0.0):.2f}"
        if bars.size == weighed.size:
            return OtherReading("the same from another beat", first)
        metre = "{}/{}".format(*metre_of_beats(bars.size, length))
        return OtherReading(f"bars of {metre}", f"--metre {metre} {first}")

    rivals = [weighed.moved] if said else [weighed.moved, weighed.in_twos]
    others = map(other, sorted(rivals, key=lambda each: -each.score))
    metre = "{}/{}".format(*metre_of_beats(weighed.size, length))
    what = "where bars begin was" if said else f"bars of {metre} were"
    return Doubt("bars", f"{what} found by ear", sure, tuple(others))


def unsaid_bars(
    weighed: WeighedBars, best: float, odds: Floats, song: Song, heard: Collection[str]
) -> Doubt | None:
    """Return the doubt of bars of a file that has none but a beat, if they aren't sure.

    Where no bars gain anything, how sure they are isn't known, nor others.

    ``best``: score of the likeliest bars.
    ``odds``: shape (slots, 2): log odds of a beat and of a bar line at each slot.
    ``heard``: the metres that were heard; none if 4/4 from the first tick is taken.
    """
    if best <= 0.0:
        return Doubt("bars", UNSAID, None, ())
    sure = weighed.sure("bars_heard", best)
    if sure >= SURE_BARS:
        return None
    first = int(song.columns.onset.min())
    others = []
    for each in sorted((weighed.moved, weighed.in_twos), key=lambda each: -each.score):
        named = named_bars(each, odds, song.ticks_per_beat, first)
        metre = "{}/{}".format(*named.metre)
        what = "the same from another place" if each.size == weighed.size else f"bars of {metre}"
        others.append(OtherReading(what, f"--metre {metre} --pickup {named.pickup}"))
    what = f"bars of {' and '.join(heard)} were found by ear"
    return Doubt("bars", what if heard else UNSAID, sure, tuple(others))
