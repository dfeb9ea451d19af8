"""Bars whose notes keep to another division of the beat than the step: triplets, swing, finer notes.

A song has one step. Where a few bars go by another, their notes move to the nearest step; a step that
holds both would make many more rows of the whole song, so that is told bar by bar instead.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import distinct
from arranger.grid.steps.choose import (
    NEARLY_ALL,
    PLAIN_SECONDS,
    PLAINLY,
    PLAYED_PLAIN_SECONDS,
    PLAYED_UNHEARD_SECONDS,
    UNHEARD_SECONDS,
)
from arranger.grid.steps.place import half_up
from arranger.settings import STEP_CHOICES

if TYPE_CHECKING:
    from fractions import Fraction

    from arranger.columns import Floats

FEWEST = 2
"""A bar is told where so many attacks at least would be heard off their places."""
TWO_THIRDS = 2 / 3


class OffStep(NamedTuple):
    """Bars that go by a division of their own."""

    what: str
    """In words: "triplets", "swung off-beats", "notes of 1/8"."""
    step_beats: Fraction
    """The coarsest step that would hold each of them."""
    bars: tuple[int, ...]
    """Indices of the bars, rising."""
    attacks: int
    """How many attacks are off the song's step there."""


def bars_off_step(
    attack_beats: Floats, bar_beats: Floats, step: Fraction, bpm: float, *, played: bool
) -> tuple[OffStep, ...]:
    """Return the bars that go by another division than the step, a group a kind, the largest first.

    ``attack_beats``: shape (attacks,): where something starts, in beats.
    ``bar_beats``: shape (bars + 1,): the bar lines.
    ``step``, ``bpm``, ``played``: the step and tempo, and whether the beat was tracked.
    """
    unheard, plain = UNHEARD_SECONDS, PLAIN_SECONDS
    if played:
        unheard, plain = PLAYED_UNHEARD_SECONDS, PLAYED_PLAIN_SECONDS
    limit = unheard + PLAINLY * (plain - unheard)
    beats = attack_beats - bar_beats[0]
    bar = np.searchsorted(bar_beats, attack_beats + 1e-9, side="right") - 1
    off = _off_seconds(beats, step, bpm) > limit
    groups: dict[str, list[tuple[int, Fraction, int]]] = {}
    for index in distinct(bar[off]).tolist():
        inside = beats[bar == index]
        lost = inside[_off_seconds(inside, step, bpm) > limit]
        holds = next(
            (
                other
                for other in STEP_CHOICES
                if np.mean(_off_seconds(inside, other, bpm) <= unheard) >= NEARLY_ALL
            ),
            None,
        )
        if len(lost) >= FEWEST and holds is not None:
            groups.setdefault(_named(lost, holds), []).append((index, holds, len(lost)))
    found = [
        OffStep(
            what,
            min(holds for _, holds, _ in bars),
            tuple(index for index, _, _ in bars),
            sum(count for _, _, count in bars),
        )
        for what, bars in groups.items()
    ]
    return tuple(sorted(found, key=lambda each: (-each.attacks, each.bars)))


def _off_seconds(beats: Floats, step: Fraction, bpm: float) -> Floats:
    places = beats / float(step)
    away: Floats = np.abs(places - half_up(places)) * float(step) * 60.0 / bpm
    return away


def _named(lost: Floats, holds: Fraction) -> str:
    if holds.denominator % 3:
        return f"notes of {holds}"
    late = np.abs(lost % 1.0 - TWO_THIRDS) < 0.05
    return "swung off-beats" if late.all() else "triplets"
