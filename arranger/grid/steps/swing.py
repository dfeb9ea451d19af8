"""Swing: off-beats that come late, all by about as much.

In a swung song the second of two quavers stands not half-way through the beat but at 57 % to 73 % of
it, and hardly anything stands on the first third, as it would in true triplets. The same is looked
for in half-beats (swung semiquavers). The shares are ours.

Swung off-beats are carried to two thirds of the beat ("play", a triplet step holds them) or to its
half ("straighten"); times before and after them are stretched evenly.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import median

if TYPE_CHECKING:
    from arranger.columns import Floats

UNITS = (1.0, 0.5)
"""Beats in which swing is looked for."""
EARLIEST, LATEST = 0.57, 0.73
MIDDLE = (0.42, 0.80)
"""What counts as an off-beat, swung or straight."""
SPREAD = 0.05
ALIKE = 0.75
"""Share of the off-beats that must stand within `SPREAD` of their median."""
FEWEST = 8
TRIPLETS = 0.25
"""More than so many first thirds to an off-beat, and it is triplets."""
PLAYED, STRAIGHT = 2 / 3, 1 / 2
EXACT = 9
"""Decimals to which places in beats are told apart."""


class Swing(NamedTuple):
    """Swing that was found."""

    unit: float
    """Beats that two swung notes share."""
    place: float
    """Where the second starts, as a share of the unit."""
    off_beats: int
    """How many attacks stand there."""


def find_swing(attack_beats: Floats) -> Swing | None:
    """Return the swing of a song from where its attacks stand in beats, or None."""
    for unit in UNITS:
        # rounded, so that no threshold is crossed by the noise of sums of floats
        phase = np.mod(np.round(attack_beats / unit, EXACT), 1.0).round(EXACT)
        middle = phase[(phase > MIDDLE[0]) & (phase < MIDDLE[1])]
        if len(middle) < FEWEST:
            continue
        place = float(median(middle))
        alike = np.abs(middle - place) < SPREAD
        thirds = np.count_nonzero((phase > 0.25) & (phase < MIDDLE[0]))
        on_beat = np.count_nonzero((phase < 0.1) | (phase > 0.9))
        if (
            EARLIEST <= place <= LATEST
            and alike.mean() >= ALIKE
            and thirds <= TRIPLETS * len(middle)
            and on_beat >= len(middle) / 2
        ):
            return Swing(unit, place, int(np.count_nonzero(alike)))
    return None


def carry(beats: Floats, swing: Swing, place: float) -> Floats:
    """Return positions with the swung off-beat at another place of its unit; shape as ``beats``."""
    units = beats / swing.unit
    whole = np.floor(units)
    moved = np.interp(units - whole, (0.0, swing.place, 1.0), (0.0, place, 1.0))
    result: Floats = (whole + moved) * swing.unit
    return result
