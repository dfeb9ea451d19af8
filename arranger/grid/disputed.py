"""Whether the music plainly has other bars than those that its file states, and which.

The file's word counts: nothing is changed here. But a reading in bars that are all alike, of any usual
length and from any place, may suit what is heard (`arranger.grid.track.bars_heard`) so much better than the
file's bar lines that a reader of the summary should know. The user has it by ``--metre`` and
``--first-beat`` or ``--pickup``.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import distinct
from arranger.grid.asked_bars import asks_place
from arranger.grid.attacks import find_attacks
from arranger.grid.metres import FEWEST_ATTACKS, has_bars, named_metre
from arranger.grid.track.bars_heard import SLOT_LENGTHS, SLOTS_A_BEAT, hear_lines
from arranger.song.time import bars, seconds_at, timed_columns

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.model import Grid
    from arranger.song.model import Song

LEAST_ODDS, LEAST_GAIN, LEAST_SCORE = 40.0, 4.0, 1.5
"""How much likelier than the file's another reading must be, in all and a bar, and how likely by itself, a bar: log
odds. Of 142 scores by composers that the network doesn't know 2 reach it; a wrong file of pop music gains 6
to 10 a bar."""

ODD_COST = 1.0
"""What a bar of a length costs that `SLOT_LENGTHS` doesn't have."""


class HeardBars(NamedTuple):
    """Bars that the music has, where the file states others."""

    metre: tuple[int, int]
    """Of all bars, as (3, 4)."""
    first_beat: float
    """Seconds of the first bar line from the first note on: what ``--first-beat`` takes."""
    pickup: Fraction
    """Quarter notes from the first note to it: what ``--pickup`` takes."""
    odds: float
    """How much likelier these bars are than the file's, as a natural logarithm; always large."""
    moved: bool
    """Whether the metre is the file's own, and only the place of the bars another."""


class _Reading(NamedTuple):
    size: int
    """Slots of a bar."""
    first: int
    """The slot of the first bar line, less than `size`."""
    score: float


def heard_bars(song: Song, grid: Grid) -> HeardBars | None:
    """Return the bars that the music has, if they plainly contradict those that the file states.

    None where it doesn't, where the file states none, where its beat isn't followed or where the user says
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
    ticks, first = song.ticks_per_beat, int(notes.onset[0])
    odds = hear_lines(notes, attacks, ticks, grid.asked_bpm)
    stated = _stated(song, len(odds))
    best = max(_readings(odds[:, 1]), key=lambda reading: reading.score)
    costs = dict(SLOT_LENGTHS)
    lengths = sum(costs.get(size, ODD_COST) for size in np.diff(stated).tolist())
    own = float(odds[stated, 1].sum()) - lengths
    gain = best.score - own
    lines = np.arange(best.first, len(odds), best.size)
    gained, likely = gain / len(lines), best.score / len(lines)
    if gain < LEAST_ODDS or gained < LEAST_GAIN or likely < LEAST_SCORE or _within(lines, stated):
        return None
    line = int(lines[np.searchsorted(lines * ticks, first * SLOTS_A_BEAT)]) * ticks / SLOTS_A_BEAT
    metre = named_metre(best.size, lines[lines + best.size <= len(odds)], odds[:, 0])
    return HeardBars(
        metre,
        float(seconds_at(song, line)),
        Fraction(round(line) - first, ticks).limit_denominator(SLOTS_A_BEAT),
        gain,
        {metre} == {found[1:] for found in song.metres},
    )


def _is_rare(song: Song) -> bool:
    """Return whether the file states a metre that nobody states by accident, such as 7/8."""
    slots = {4 * SLOTS_A_BEAT * metre.numerator / metre.denominator for metre in song.metres}
    return not slots <= {size for size, _ in SLOT_LENGTHS}


def _stated(song: Song, count: int) -> Ints:
    """Return the slots of the file's bar lines, and where the last bar ends."""
    found = bars(song, (count - 1) * song.ticks_per_beat // SLOTS_A_BEAT)
    slots = np.array([bar.start for bar in found]) * SLOTS_A_BEAT / song.ticks_per_beat
    whole = distinct(np.rint(slots).astype(np.int64))
    return whole[whole < count]


def _readings(odds: Floats) -> list[_Reading]:
    """Return all readings in bars that are alike."""
    return [
        _Reading(size, first, float(odds[first::size].sum() - cost * len(odds[first::size])))
        for size, cost in SLOT_LENGTHS
        for first in range(size)
    ]


def _within(lines: Ints, stated: Ints) -> bool:
    """Return whether the same bars are only counted in twos, or halved."""
    inside = stated[stated >= lines[0]]
    return bool(np.isin(inside, lines).all() or np.isin(lines, stated).all())
