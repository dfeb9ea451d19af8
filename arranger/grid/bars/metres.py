"""Bars by ear for a song that has beats but no bars: how bar lines become metres.

A file that says no metre, or one of a single beat throughout, has no bars. They are heard (see
`arranger.grid.track.networks.bars_heard`); 4/4 from the first tick is kept unless others are plainly likelier.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.bars.asked_bars import (
    LINES_A_BEAT,
    after_pickup,
    asks_place,
    bar_beats,
    even_metres,
    likeliest_place,
    moved_metres,
)
from arranger.grid.bars.doubts import unsaid_bars
from arranger.grid.bars.metre_names import named_metre
from arranger.grid.track.bars_sure import weigh_bars
from arranger.grid.track.networks.bars_heard import (
    SLOT_LENGTHS,
    SLOTS_A_BEAT,
    hear_lines,
    likeliest_bars,
)
from arranger.song.model import MetreChange
from arranger.song.time import ticks_at

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.attacks import Attacks
    from arranger.grid.doubt import Doubt
    from arranger.settings import GridSettings
    from arranger.song.model import Song
    from arranger.song.notes import TimedColumns

FEWEST_ATTACKS = 32
LEAST_GAIN, LEAST_SHARE = 10.0, 0.1
"""By how much heard bars must be likelier than 4/4 from the first tick: log odds, and their share."""
USUAL = MetreChange(0, 4, 4)
HALF_BEAT = 2
"""Slots of half a beat."""


class Barred(NamedTuple):
    """A song with bars."""

    song: Song
    pickup: bool
    """Whether its first bar is one."""
    remarks: tuple[str, ...] = ()
    doubt: Doubt | None = None


class ChosenBars(NamedTuple):
    """The bars of a file that has none."""

    lines: Ints
    """Slots, to both ends of the song."""
    best: float
    """Score of the likeliest bars, whether they are these or not."""
    usual: bool
    """Whether they are those of 4/4 from the first tick."""


def has_bars(song: Song) -> bool:
    """Return whether the file says where bars are."""
    more = any(4 * metre.numerator > metre.denominator for metre in song.metres)
    return song.metre_said and more


def with_bars(
    song: Song, notes: TimedColumns, attacks: Attacks, bpm: float, settings: GridSettings
) -> Barred:
    """Return a song with bars: as asked for, its own, or those that are heard."""
    if settings.metre is not None or asks_place(settings):
        return _asked(song, notes, attacks, bpm, settings)
    if has_bars(song):
        return Barred(song, pickup=False)
    odds = hear_lines(notes, attacks, song.ticks_per_beat, bpm)
    chosen = choose_bars(odds, attacks.count)
    metres = (USUAL,) if chosen.usual else _metres(chosen.lines, odds[:, 0], song.ticks_per_beat)
    found = [f"{metre.numerator}/{metre.denominator}" for metre in metres]
    named = [] if chosen.usual else list(dict.fromkeys(found))
    weighed = weigh_bars(odds[:, 1], chosen.lines, SLOT_LENGTHS)
    return Barred(
        replace(song, metres=metres),
        bool(chosen.lines[0]),
        (f"the file has no bars; those of {' and '.join(named)} were found by ear",)
        if named
        else (),
        unsaid_bars(weighed, chosen.best, odds, song, named),
    )


def choose_bars(odds: Floats, attacks: int) -> ChosenBars:
    """Return the bars of a file that has none; ``odds``: of a beat and a bar line at each slot."""
    heard = likeliest_bars(odds[:, 1], SLOT_LENGTHS)
    size = 4 * SLOTS_A_BEAT
    kept, best = float(odds[::size, 1].sum()), 0.0 if heard is None else heard.score
    gain = best - kept
    if heard is None or attacks < FEWEST_ATTACKS or gain < max(LEAST_GAIN, LEAST_SHARE * best):
        return ChosenBars(np.arange(0, len(odds) + size, size), best, usual=True)
    return ChosenBars(heard.lines, best, usual=False)


def _asked(
    song: Song, notes: TimedColumns, attacks: Attacks, bpm: float, settings: GridSettings
) -> Barred:
    """Return a song with bars in the metre, or from the place, that the user says."""
    ticks, place = song.ticks_per_beat, _asked_tick(song, notes, settings)
    own = has_bars(song) and {settings.metre, *(metre[1:] for metre in song.metres)}
    if own and (settings.metre is None or len(own) == 1):
        metres = song.metres if place is None else moved_metres(song, place)
        return Barred(replace(song, metres=metres), pickup=len(metres) > len(song.metres))
    odds = hear_lines(notes, attacks, ticks, bpm)
    metre = settings.metre or _commonest(odds)
    size = bar_beats(metre)
    if place is None:
        slots = max(int(size * SLOTS_A_BEAT), 1)
        places = range(0, slots, HALF_BEAT)
        place = likeliest_place(odds[:, 1], slots, places) * ticks // SLOTS_A_BEAT
    first = round(place % (size * ticks))
    return Barred(replace(song, metres=even_metres(metre, first)), pickup=first > 0)


def _asked_tick(song: Song, notes: TimedColumns, settings: GridSettings) -> int | None:
    """Return the tick at which the user has a bar begin."""
    ticks = song.ticks_per_beat
    if settings.pickup is not None:
        return round(after_pickup(int(notes.onset[0]) / ticks, settings.pickup) * ticks)
    if settings.first_beat is None:
        return None
    tick = int(ticks_at(song, np.array(settings.first_beat)))
    return round(round(tick / ticks * LINES_A_BEAT) * ticks / LINES_A_BEAT)


def _commonest(odds: Floats) -> tuple[int, int]:
    """Return the metre of most bars that are heard."""
    heard = likeliest_bars(odds[:, 1], SLOT_LENGTHS)
    if heard is None:
        return USUAL.numerator, USUAL.denominator
    size = int(np.bincount(np.diff(heard.lines)).argmax())
    return named_metre(size, heard.lines[:-1][np.diff(heard.lines) == size], odds[:, 0])


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
