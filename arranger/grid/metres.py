"""Bars by ear for a song that has beats but no bars: how bar lines become metres.

A file that says no metre, or one of a single beat throughout, has no bars. They are heard (see
`arranger.grid.track.bars_heard`); 4/4 from the first tick is kept unless others are plainly likelier.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.track.bars_heard import SLOT_LENGTHS, SLOTS_A_BEAT, hear_lines, likeliest_bars
from arranger.grid.track.evidence import find_evidence
from arranger.song.model import MetreChange

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.attacks import Attacks
    from arranger.song.model import Song
    from arranger.song.notes import TimedColumns

FEWEST_ATTACKS = 32
LEAST_GAIN, LEAST_SHARE = 10.0, 0.1
"""By how much heard bars must be likelier than 4/4 from the first tick: log odds, and their share."""
USUAL = MetreChange(0, 4, 4)
PLAIN = {6: (3, 8), 8: (2, 4), 12: (3, 4), 16: (4, 4), 20: (5, 4), 24: (6, 4)}
"""The metre of a bar by its slots."""
COMPOUND = {12: (6, 8), 24: (12, 8)}
"""That of one whose beats are dotted."""
DOTTED = 6
"""Slots of a dotted beat."""


class Barred(NamedTuple):
    """A song with bars."""

    song: Song
    pickup: bool
    """Whether its first bar is one."""
    remarks: tuple[str, ...] = ()


def has_bars(song: Song) -> bool:
    """Return whether the file says where bars are."""
    more = any(4 * metre.numerator > metre.denominator for metre in song.metres)
    return song.metre_said and more


def with_bars(song: Song, notes: TimedColumns, attacks: Attacks, bpm: float) -> Barred:
    """Return a song with bars: its own, or those that are heard."""
    if has_bars(song):
        return Barred(song, pickup=False)
    usual = Barred(replace(song, metres=(USUAL,)), pickup=False)
    if attacks.count < FEWEST_ATTACKS:
        return usual
    evidence, ticks = find_evidence(notes, attacks), song.ticks_per_beat
    odds = hear_lines(notes, attacks, evidence, notes.onset / ticks, notes.end / ticks, 60.0 / bpm)
    heard = likeliest_bars(odds[:, 1], SLOT_LENGTHS)
    kept = float(odds[:: 4 * SLOTS_A_BEAT, 1].sum())
    if heard is None or heard.score - kept < max(LEAST_GAIN, LEAST_SHARE * heard.score):
        return usual
    metres = _metres(heard.lines, odds[:, 0], ticks)
    named = list(dict.fromkeys(f"{metre.numerator}/{metre.denominator}" for metre in metres))
    remark = f"the file has no bars; those of {' and '.join(named)} were found by ear"
    pickup = bool(heard.lines[0])
    return Barred(replace(song, metres=metres), pickup, (remark,))


def _metres(lines: Ints, beats: Floats, ticks_per_beat: int) -> tuple[MetreChange, ...]:
    """Return the metres that have bar lines at some slots; ``beats`` are the log odds of beats."""
    sizes = np.diff(lines)
    names = {
        int(size): named_metre(int(size), lines[:-1][sizes == size], beats) for size in set(sizes)
    }
    found: dict[int, MetreChange] = {}
    for line, size in zip(lines[:-1].tolist(), sizes.tolist(), strict=True):
        tick = line * ticks_per_beat // SLOTS_A_BEAT
        if not found:
            found |= {at: MetreChange(at, *names[size]) for at in (0, tick)}
        elif list(found.values())[-1][1:] != names[size]:
            found[tick] = MetreChange(tick, *names[size])
    return tuple(found.values())


def named_metre(size: int, lines: Ints, beats: Floats) -> tuple[int, int]:
    """Return the metre of bars of a size in slots; of several with that size the one with those beats."""
    if size not in COMPOUND:
        return PLAIN[size]
    inside = lines[lines + size <= len(beats)]
    if not len(inside):
        return PLAIN[size]

    def mean(step: int) -> float:
        at = inside[:, None] + np.arange(step, size, step)
        return float(beats[at].mean())

    return COMPOUND[size] if mean(DOTTED) > mean(SLOTS_A_BEAT) else PLAIN[size]
