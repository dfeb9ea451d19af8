"""Does a file follow its own beat? A statistical test.

An onset has a phase within the file's beat; beats are counted from where a metre begins, so that those after
a pickup of half a beat are where the bars have them. For each way to divide a beat (`DIVISIONS`), let z be the
mean of exp(2 pi i d p) over the phases p, measured in beats. Two questions are put to it:

1. *Do the notes keep the file's tempo?* If they have nothing to do with it, the phases are even and z
   is near 0: Rayleigh's test, with probability exp(-n |z|^2), times the number of divisions
   (Bonferroni). Onsets of one song are no independent draws, so n counts one onset in
   `BLOCK_ONSETS`, which errs on the side of "doesn't keep".
2. *Do they keep its beats?* A recording whose tempo is known, but not where it starts, keeps the
   tempo at any phase. If so, the angle of z is as likely anywhere, and one as near to 0 as it is
   has probability |angle| / pi. This is asked of one division only, the coarsest that is kept
   nearly as well as the best, chosen without a look at the angle.

A file that was written rather than played needs no test: most of its onsets stand exactly on whole
divisions (``exact``), no further off them on average than half of the finest, so on no other one. Any other follows its beat when 1 has probability below `KEEPS_ALARM` and |z| at least `LEAST_KEPT`, and 2
has probability below `PHASE_ALARM`, which is the false-alarm rate for recordings at an arbitrary
phase. Those that pass by accident are a whole number of divisions off, so they keep the division but
not the beat; `arranger.grid.tracked.beats_elsewhere` looks for these by musical evidence.

Source of the test: Mardia and Jupp, Directional Statistics (2000), chapter 6 (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import distinct

if TYPE_CHECKING:
    from arranger.columns import Ints
    from arranger.song.model import Song

DIVISIONS = (1, 2, 3, 4, 6, 8, 12)
KEEPS_ALARM = 0.01
PHASE_ALARM = 0.10
LEAST_KEPT = 0.35
NEARLY = 0.9
"""A coarser division is preferred when it is kept so well, as a share of the best."""
BLOCK_ONSETS = 4
FEWEST_ONSETS = 32
"""With fewer onsets there is nothing to be found out, and the file is believed."""
EXACT_TICKS = 0.51
FINEST = 24
EXACT_SHARE, EXACT_BEATS_SHARE = 0.9, 0.3
"""So many onsets within `EXACT_TICKS` of a 24th of a beat (and a phase near 0, or less than half of a 24th from it),
or of a whole beat, were written and not played. By chance one in 20 or more is near a 24th, one in 96 or more near a beat; swung songs keep
their beats and nothing else."""


class BeatVerdict(NamedTuple):
    """Whether a song's onsets follow its own beat."""

    follows: bool
    statistic: float
    """V = |z| cos(angle), -1..1: 1 when every onset stands exactly on a division of the beat."""
    probability: float
    """Of a phase at least so near to the beat, if the notes had nothing to do with it."""
    division: int
    """The division of the beat that was asked about, as parts of a beat."""
    onsets: int
    """How many different onsets were looked at."""
    keeps_tempo: bool
    """Whether the notes keep the file's tempo, at whatever phase."""
    shift_beats: float
    """How late the onsets are against the division, in beats; the mean."""
    exact: bool
    """Whether nearly all onsets stand exactly on a division: written, not played."""

    @property
    def sentence(self) -> str:
        """What the test found, for people."""
        if self.onsets < FEWEST_ONSETS:
            return f"too few onsets ({self.onsets}) to tell; the file's beats are followed"
        measured = f"{self.onsets} onsets"
        if self.follows:
            return f"the onsets follow the file's beat ({measured})"
        if self.keeps_tempo:
            return (
                f"the onsets keep the file's tempo, but {self.shift_beats:+.3f} beats from its "
                f"grid ({measured})"
            )
        return f"the onsets don't follow the file's beat ({measured})"


def follows_own_beat(song: Song) -> BeatVerdict:
    """Test whether a song's onsets follow its own beat.

    A song without a beat of its own (SMPTE time division) doesn't, whatever its onsets.
    """
    ticks = distinct(song.columns.onset)
    count = len(ticks)
    if count == 0:
        return BeatVerdict(song.own_beat, 0.0, 1.0, 1, 0, song.own_beat, 0.0, False)
    ticks = after_metres(song, ticks)
    beats = ticks / song.ticks_per_beat
    mean = np.exp(2j * np.pi * np.outer(DIVISIONS, beats)).mean(axis=1)
    kept = np.abs(mean)
    best = int(np.argmax(kept >= NEARLY * kept.max()))
    division, strength, angle = DIVISIONS[best], float(kept[best]), float(np.angle(mean[best]))
    chance = len(DIVISIONS) * float(np.exp(-count / BLOCK_ONSETS * strength**2))
    keeps = count < FEWEST_ONSETS or (strength >= LEAST_KEPT and chance < KEEPS_ALARM)
    probability = abs(angle) / np.pi if keeps else 1.0
    near = count < FEWEST_ONSETS or probability < PHASE_ALARM
    shift = angle / (2 * np.pi * division)
    on_it = near or (keeps and abs(shift) < 0.5 / FINEST)
    exact = song.ticks_per_beat >= 96 and (
        (on_it and _share_on(ticks, song.ticks_per_beat / FINEST) >= EXACT_SHARE)
        or _share_on(ticks, song.ticks_per_beat) >= EXACT_BEATS_SHARE
    )
    return BeatVerdict(
        follows=song.own_beat and (exact or (keeps and near)),
        statistic=strength * float(np.cos(angle)),
        probability=min(probability, 1.0),
        division=division,
        onsets=count,
        keeps_tempo=song.own_beat and (exact or keeps),
        shift_beats=shift,
        exact=exact,
    )


def after_metres(song: Song, ticks: Ints) -> Ints:
    """Return how far after the beginning of their metre some ticks are."""
    starts = np.array([metre.tick for metre in song.metres], dtype=np.int64)
    result: Ints = ticks - starts[np.searchsorted(starts, ticks, side="right") - 1]
    return result


def _share_on(ticks: Ints, spacing: float) -> float:
    """Return the share of ticks that are on a multiple of a spacing, to `EXACT_TICKS`."""
    multiples = ticks / spacing
    return float(np.mean(np.abs(multiples - np.rint(multiples)) * spacing <= EXACT_TICKS))
