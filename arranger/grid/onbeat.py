"""Does a file follow its own beat? A statistical test.

Under the null hypothesis the file's beats have nothing to do with its notes: the phase of an onset
within the beat is then as likely at one place as at another. Against it stands the one alternative
that matters, onsets near to whole parts of a beat. For each way to divide a beat (`DIVISIONS`), the
statistic is the V test of circular statistics (Rayleigh's test with a known direction, which is
zero, the beat itself): with phases p, V = mean(cos(2 pi d p)). Under the null hypothesis
V * sqrt(2 n) is close to normal with mean 0 and deviation 1.

Onsets of one song are no independent draws: a steady pulse that isn't the file's beat drifts slowly
through all phases. So the song is cut into blocks, and n counts blocks (of `BLOCK_ONSETS` onsets)
rather than onsets, which errs on the side of "does not follow". A file follows its beat when the
largest V is at least `LEAST_V` and the probability of one so large by chance, times the number of
divisions (Bonferroni), is below `FALSE_ALARM`.

Source of the test: Mardia and Jupp, Directional Statistics (2000), section 6.3 (from memory).
"""

from __future__ import annotations

from math import erfc, sqrt
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from arranger.song.model import Song

DIVISIONS = (1, 2, 3, 4, 6, 8, 12)
FALSE_ALARM = 0.01
LEAST_V = 0.35
BLOCK_ONSETS = 4
FEWEST_ONSETS = 16
"""With fewer onsets there is nothing to be found out, and the file is believed."""


class BeatVerdict(NamedTuple):
    """Whether a song's onsets follow its own beat."""

    follows: bool
    statistic: float
    """V, between -1 and 1: 1 when every onset stands exactly on a division of the beat."""
    probability: float
    """Of a V at least so large if the beats had nothing to do with the onsets."""
    division: int
    """The division of the beat that fits best, as parts of a beat."""
    onsets: int
    """How many different onsets were looked at."""

    @property
    def sentence(self) -> str:
        """What the test found, for people."""
        if self.onsets < FEWEST_ONSETS:
            return f"too few onsets ({self.onsets}) to tell; the file's beats are followed"
        does = "follow" if self.follows else "don't follow"
        return (
            f"the onsets {does} the file's beat (V = {self.statistic:.2f} on "
            f"1/{self.division} beat, {self.onsets} onsets, chance {self.probability:.1e})"
        )


def follows_own_beat(song: Song) -> BeatVerdict:
    """Test whether a song's onsets follow its own beat.

    A song without a beat of its own (SMPTE time division) doesn't, whatever its onsets.
    """
    onsets = np.unique(np.array([note.onset for note in song.notes], dtype=np.int64))
    count = len(onsets)
    if count == 0:
        return BeatVerdict(song.own_beat, 0.0, 1.0, 1, 0)
    turns = np.outer(np.array(DIVISIONS), onsets / song.ticks_per_beat)
    strength = np.cos(2.0 * np.pi * turns).mean(axis=1)
    best = int(np.argmax(strength))
    statistic = float(strength[best])
    normal = statistic * sqrt(2.0 * max(count / BLOCK_ONSETS, 1.0))
    probability = min(0.5 * erfc(normal / sqrt(2.0)) * len(DIVISIONS), 1.0)
    follows = count < FEWEST_ONSETS or (statistic >= LEAST_V and probability < FALSE_ALARM)
    return BeatVerdict(song.own_beat and follows, statistic, probability, DIVISIONS[best], count)
