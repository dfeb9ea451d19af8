"""What the network hears of a song, and the bar lines that suit it best once beats are chosen."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.track.follow import UNIT
from arranger.grid.track.networks.bars_heard import BEAT_LENGTHS, likeliest_bars
from arranger.grid.track.networks.beat_frames import BEFORE, FRAMES_A_SECOND, beat_frames
from arranger.grid.track.networks.ear import METRES, listen
from arranger.grid.track.networks.layers import load_weights

if TYPE_CHECKING:
    from arranger.columns import Floats
    from arranger.grid.attacks import Attacks
    from arranger.grid.track.evidence import AttackEvidence
    from arranger.grid.track.networks.bars_heard import LikeliestBars
    from arranger.song.notes import TimedColumns

SUREST = 6.0
"""Log odds beyond this count as this."""
BEAT_BIAS, BAR_BIAS = 1.0, 2.0
"""Added to the log odds: a beat, or a bar line, is heard too seldom rather than too often."""
NEAR_BEAT, NEAR_BAR = 1, 2
"""How many frames off a beat may be heard, and a bar line."""
METRE = 0.3
"""What the log odds of a metre count in the cost of each of its bars."""


class HeardSong(NamedTuple):
    """What the network heard: multiples of `UNIT`, so that machines agree."""

    odds: Floats
    """Log odds of a beat, and of a bar line, at each frame; shape (frames, 2)."""
    first: float
    """Seconds of frame 0."""
    metres: Floats
    """Log odds of 1 to 6 beats a bar against each other, of the song; the highest is 0."""
    thirds: float
    """Log odds that beats divide in three."""

    def frames(self, seconds: Floats) -> Floats:
        """Return places in frames, not rounded."""
        result: Floats = (seconds - self.first) * FRAMES_A_SECOND
        return result

    def beat_odds(self, seconds: Floats) -> Floats:
        """Return the log odds of beats at some seconds; `-SUREST` outside of the song."""
        return _near(self.odds[:, 0], self.frames(seconds), NEAR_BEAT)

    def bar_odds(self, seconds: Floats) -> Floats:
        """Return the log odds of bar lines at some seconds; 0 outside of the song."""
        at = self.frames(seconds)
        found = _near(self.odds[:, 1], at, NEAR_BAR) + BAR_BIAS
        return np.where((at < 0) | (at > len(self.odds)), 0.0, np.clip(found, -SUREST, SUREST))

    def lines(self, seconds: Floats) -> LikeliestBars | None:
        """Return the likeliest bars on beats at some seconds."""
        lengths = tuple(
            (size, cost - METRE * float(self.metres[min(size, METRES) - 1]))
            for size, cost in BEAT_LENGTHS
        )
        return likeliest_bars(self.bar_odds(seconds), lengths)


def _near(odds: Floats, at: Floats, reach: int) -> Floats:
    """Return the highest odds near places."""
    padded = np.pad(odds, 2 * reach + 1, constant_values=-SUREST)
    centre = np.clip(np.rint(at).astype(np.int64), -reach - 1, len(odds) + reach) + 2 * reach + 1
    around = centre[:, None] + np.arange(-reach, reach + 1)
    result: Floats = padded[around].max(axis=1)
    return result


def hear_song(notes: TimedColumns, attacks: Attacks, evidence: AttackEvidence) -> HeardSong:
    """Return what the network hears of a song."""
    heard = listen(load_weights("beats.npz"), beat_frames(notes, attacks, evidence))
    odds = np.clip(np.rint(heard.odds.astype(np.float64) / UNIT) * UNIT, -SUREST, SUREST)
    metres = np.rint((heard.metres - heard.metres.max()).astype(np.float64) / UNIT) * UNIT
    first = float(evidence.seconds[0]) - BEFORE / FRAMES_A_SECOND
    return HeardSong(odds, first, metres, round(heard.thirds / UNIT) * UNIT)
