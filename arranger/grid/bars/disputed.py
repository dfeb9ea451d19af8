"""Whether the music has other bars than those that its file states, and which.

The file's word counts: nothing is changed here. But bars that are all alike, of any usual length and from any place, may
suit what is heard (`arranger.grid.track.networks.bars_heard`) so much better than the file's bar lines that these are likelier
wrong than right (`arranger.grid.track.bars_sure`), and a reader of the summary should know. The user has them by
``--metre`` and ``--first-beat`` or ``--pickup``.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import among, distinct
from arranger.grid.attacks import find_attacks
from arranger.grid.bars.asked_bars import asks_place
from arranger.grid.bars.metre_names import named_bars
from arranger.grid.bars.metres import FEWEST_ATTACKS, has_bars
from arranger.grid.doubt import Doubt, OtherReading
from arranger.grid.track.bars_sure import weigh_bars
from arranger.grid.track.evidence import find_evidence
from arranger.grid.track.networks.bars_heard import (
    SLOT_LENGTHS,
    SLOTS_A_BEAT,
    hear_lines,
    likeliest_bars,
)
from arranger.song.time import seconds_at, song_bars, timed_columns

if TYPE_CHECKING:
    from fractions import Fraction

    from arranger.columns import Floats, Ints
    from arranger.grid.model import Grid
    from arranger.song.model import Song

SURE = 0.5
"""Stated bars that are less sure are told."""


class HeardBars(NamedTuple):
    """Bars that the music has, where the file states others."""

    metre: tuple[int, int]
    """Of all bars, as (3, 4)."""
    first_beat: float
    """Seconds of the first bar line from the first note on: what ``--first-beat`` takes."""
    pickup: Fraction
    """Quarter notes from the first note to it: what ``--pickup`` takes."""
    sure: float
    """How likely the file's bars are right nevertheless, 0..1."""
    moved: bool
    """Whether the metre is the file's own, and only the place of the bars another."""


def heard_bars(song: Song, grid: Grid) -> HeardBars | None:
    """Return the bars that the music has, if those that the file states are likelier wrong than right.

    None where they aren't, where the file states none, where its beat isn't followed or where the user says
    how bars are.
    """
    settings = grid.settings
    asked = settings is not None and (settings.metre is not None or asks_place(settings))
    if grid.basis != "file" or asked or not has_bars(song) or _is_rare(song):
        return None
    notes = timed_columns(song)
    attacks = find_attacks(notes)
    if attacks.count < FEWEST_ATTACKS:
        return None
    evidence = find_evidence(notes, attacks)
    slot = np.rint(attacks.mean(notes.onset / song.ticks_per_beat) * SLOTS_A_BEAT).astype(np.int64)
    strength = np.bincount(slot, evidence.strength).astype(np.float64)
    if _stand_out(strength, _stated(song, len(strength))):
        return None
    odds = hear_lines(notes, attacks, song.ticks_per_beat, grid.asked_bpm, evidence)
    stated = _stated(song, len(odds))
    weighed = weigh_bars(odds[:, 1], stated, SLOT_LENGTHS)
    other = max(weighed.moved, weighed.counted, key=lambda each: each.score)
    lines = np.arange(other.first, len(odds), other.size)
    if other.score <= weighed.score or _within(lines, stated):
        return None
    likeliest = likeliest_bars(odds[:, 1], SLOT_LENGTHS)
    if likeliest is None or (sure := weighed.sure("bars_stated", likeliest.score)) >= SURE:
        return None
    named = named_bars(other, odds, song.ticks_per_beat, int(notes.onset[0]))
    return HeardBars(
        named.metre,
        float(seconds_at(song, named.first_tick)),
        named.pickup,
        sure,
        {named.metre} == {found[1:] for found in song.metres},
    )


def contradicted_bars(heard: HeardBars, song: Song) -> Doubt:
    """Return the doubt of bars that the file states and the music contradicts."""
    option = f"--pickup {heard.pickup}"
    other = OtherReading("where the music has them", option)
    if not heard.moved:
        metre = "{}/{}".format(*heard.metre)
        other = OtherReading(f"bars of {metre}, as the music goes", f"--metre {metre} {option}")
    stated = "{}/{}".format(*song.metres[0][1:])
    return Doubt("bars", f"the file's bars of {stated}", heard.sure, (other,))


def _stand_out(strength: Floats, stated: Ints) -> bool:
    """Return whether in both halves of a song more starts on the stated bar lines than on any others.

    The others are those of bars that are all alike. Of 139 pop songs in which the network, which takes several times
    as long, hears other bars, none is so; of 143 in which it doesn't 97 are, and 33 of 40 of a band.
    """
    size = int(np.bincount(np.diff(stated)).argmax())
    ends = 0, len(strength) // 2, len(strength)
    for low, high in pairwise(ends):
        lines, part = stated[(stated >= low) & (stated < high)] - low, strength[low:high]
        if not len(lines):
            return False
        place = int(np.bincount(lines % size).argmax())
        others = [
            float(part[first::length].mean())
            for length, _ in SLOT_LENGTHS
            for first in range(min(length, len(part)))
            if length % size or first % size != place  # not these bars, or every other one of them
        ]
        if float(part[lines].mean()) <= max(others):
            return False
    return True


def _is_rare(song: Song) -> bool:
    """Return whether the file states a metre that nobody states by accident, such as 7/8."""
    slots = {4 * SLOTS_A_BEAT * metre.numerator / metre.denominator for metre in song.metres}
    return not slots <= {size for size, _ in SLOT_LENGTHS}


def _stated(song: Song, count: int) -> Ints:
    """Return the slots of the file's bar lines, and where the last bar ends."""
    found = song_bars(song, (count - 1) * song.ticks_per_beat // SLOTS_A_BEAT)
    slots = (
        np.array([bar.start for bar in found] + [found[-1].end])
        * SLOTS_A_BEAT
        / song.ticks_per_beat
    )
    return distinct(np.rint(slots).astype(np.int64))


def _within(lines: Ints, stated: Ints) -> bool:
    """Return whether the same bars are only counted in twos, or halved."""
    inside = stated[(stated >= lines[0]) & (stated <= lines[-1])]
    return bool(among(inside, lines).all() or among(lines, stated).all())
