"""Placing notes on steps, once the step is chosen.

Onsets are rounded an attack at a time (`arranger.grid.attacks`); those of a played song, by how it
is played. An end is rounded to the nearest
step, but meets the next attack of its part where it nearly does: players and sequencers let a note
end a little early (a gate of 95 %), which is touch, not a rest. "Nearly" is up to half a step, or
`LEGATO_SHARE` of the time from attack to attack if the end itself is on no step.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import order_of

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.attacks import Attacks

LEGATO_SHARE = 0.85
ON_STEP = 0.02
"""An end this near to a step, in steps, is taken as written there."""


UNEVEN_STEPS, LEAST_UNEVEN_STEPS = 0.2, 0.02
"""Where the deviation of played attacks starts from, and how small it may become, in steps."""
FEW = 0.5
"""Attacks that every step of the beat is taken to have had already, so that none is impossible."""
ROUNDS = 8


def half_up(values: Floats) -> Ints:
    """Return the nearest whole numbers; halves go up, so that equal distances stay equal."""
    # The small addend lets positions that are half a step but for rounding errors go the same way.
    return np.floor(values + (0.5 + 1e-9)).astype(np.int64)


def place_onsets(positions: Floats, attacks: Attacks) -> Ints:
    """Return the step of each note, shape (notes,): the step nearest to its attack."""
    return half_up(attacks.mean(positions))[attacks.of_note]


def place_played(positions: Floats, attacks: Attacks, steps_a_beat: int) -> Ints:
    """Return the step of each note of a song that a person played, shape (notes,).

    How unevenly it was played, and which steps of a beat are in use, is estimated together
    (expectation and maximisation on a mixture of normal distributions, one a step of the beat, with
    one deviation): an attack between two steps then goes to the likelier, which is the nearer unless
    the playing is so uneven that the song's usual rhythm says more. Of two attacks the later one never
    comes first, since the border between two steps is the same for all attacks between them.
    """
    at = attacks.mean(positions)
    before = np.floor(at)
    part = at - before
    low = before.astype(np.int64) % steps_a_beat
    high = (low + 1) % steps_a_beat
    usual = np.full(steps_a_beat, 1.0 / steps_a_beat)
    variance = UNEVEN_STEPS**2
    late = part
    for _ in range(ROUNDS):
        odds = np.log(usual[high] / usual[low]) + (part**2 - (1.0 - part) ** 2) / (2.0 * variance)
        late = 1.0 / (1.0 + np.exp(-np.clip(odds, -50.0, 50.0)))
        counted = np.bincount(low, 1.0 - late, steps_a_beat)
        counted += np.bincount(high, late, steps_a_beat)
        usual = (counted + FEW) / (counted + FEW).sum()
        error = (1.0 - late) * part**2 + late * (1.0 - part) ** 2
        variance = max(float(error.mean()), LEAST_UNEVEN_STEPS**2)
    step = before.astype(np.int64) + (late >= 0.5)
    return step[attacks.of_note]


def place_ends(
    onset_steps: Ints, onset_positions: Floats, end_positions: Floats, part: Ints
) -> Ints:
    """Return the step before which each note ends, at least one after its onset.

    All arrays have shape (notes,) and are in the order of onsets.
    """
    ends = half_up(end_positions)
    following, position = _next_attack(onset_steps, onset_positions, part)
    gap = position - end_positions
    span = position - onset_positions
    on_step = np.abs(end_positions - ends) < ON_STEP
    touch = (gap <= 0.5) | ((end_positions - onset_positions >= LEGATO_SHARE * span) & ~on_step)
    meets = (following >= 0) & (ends <= following) & (gap > 0) & touch
    ends[meets] = following[meets]
    return np.maximum(ends, onset_steps + 1)


def _next_attack(onset_steps: Ints, onset_positions: Floats, part: Ints) -> tuple[Ints, Floats]:
    """Return step and position of the next later step on which the part starts a note; -1: none."""
    count = len(onset_steps)
    order = order_of(onset_positions, onset_steps, part)
    steps, parts = onset_steps[order], part[order]
    opens = np.ones(count, dtype=np.bool_)
    opens[1:] = (np.diff(steps) != 0) | (np.diff(parts) != 0)
    heads = np.flatnonzero(opens)
    after = np.append(heads[1:], -1)
    same_part = parts[after] == parts[heads]
    same_part[-1] = False
    run = np.cumsum(opens) - 1
    following = np.empty(count, dtype=np.int64)
    position = np.empty(count, dtype=np.float64)
    following[order] = np.where(same_part, steps[after], -1)[run]
    position[order] = np.where(same_part, onset_positions[order][after], np.inf)[run]
    return following, position
