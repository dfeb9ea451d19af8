"""Pitch bend: where it holds a note on another semitone, and where it is only vibrato or a slide.

A note moves by n semitones when the bend stays within `_NEAR` of n (not 0) for more than half of
the note's length. Anything else is ignored: the voices of a one-bit engine play semitones.
The bend range is 2 semitones until RPN 0 sets it (General MIDI Level 1). Reset-all-controllers puts
the wheel into its middle.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from typing import TYPE_CHECKING, NamedTuple

from arranger.song.midi.events import BEND, BEND_RANGE, RESET

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from arranger.song.midi.events import ChannelEvent

_NEAR = 0.25
_DEFAULT_RANGE_CENTS = 200
_FULL_BEND = 8192
_ANY_TRACK = -1
CODES = frozenset((BEND, BEND_RANGE, RESET))


class _Stay(NamedTuple):
    """For one semitone: when the bend comes to it, and how long it has been there before."""

    starts: list[int]
    stops: list[int]
    before: list[int]

    def until(self, tick: int) -> int:
        """Return how many ticks before ``tick`` the bend was here."""
        place = bisect_right(self.starts, tick) - 1
        if place < 0:
            return 0
        return self.before[place] + min(tick, self.stops[place]) - self.starts[place]


class Wheel(NamedTuple):
    """The bends that one track plays with on one channel."""

    ticks: list[int]
    """When the bend changes."""
    nearest: list[int]
    """The semitone that it comes near to from then on; 0: none but the note's own."""
    stays: dict[int, _Stay]
    moves: list[int]
    """The ticks at which the wheel is moved away from its middle."""

    def semitones(self, onset: int, end: int) -> int:
        """Return by how many semitones the bend moves a note.

        A bend that stays for more than half of the note is there in the middle of it.
        """
        place = bisect_right(self.ticks, (onset + end) // 2) - 1
        semitone = self.nearest[place] if place >= 0 else 0
        if not semitone:
            return 0
        stay = self.stays[semitone]
        bent = stay.until(end) - stay.until(onset)
        return semitone if 2 * bent > end - onset else 0

    def touches(self, onset: int, end: int) -> bool:
        """Return whether the wheel is moved away from its middle while a note sounds."""
        place = bisect_left(self.moves, onset)
        return place < len(self.moves) and self.moves[place] < end


def wheels(
    events: Sequence[ChannelEvent], end_tick: int, strips: Iterable[tuple[int, int]]
) -> dict[tuple[int, int], Wheel]:
    """Return the wheel of each (track, channel) that has one: its own bends, or the channel's.

    ``events``: those with a code in `CODES`, in playing order.
    ``end_tick``: where the last bend ends.
    ``strips``: every (track, channel) that plays.
    """
    by_strip: dict[tuple[int, int], list[ChannelEvent]] = {}
    owned = {(event[3], event[4]) for event in events if event[5] != RESET}
    for event in events:
        for key in ((event[3], event[4]), (_ANY_TRACK, event[4])):
            by_strip.setdefault(key, []).append(event)
    found: dict[tuple[int, int], Wheel] = {}
    made: dict[tuple[int, int], Wheel] = {}
    for track, channel in strips:
        key = (track, channel) if (track, channel) in owned else (_ANY_TRACK, channel)
        if key in by_strip:
            if key not in made:
                moves = [e[0] for e in by_strip[key] if e[5] == BEND and e[6]]
                made[key] = _wheel(by_strip[key], moves, end_tick)
            found[track, channel] = made[key]
    return found


def _wheel(events: Sequence[ChannelEvent], moves: list[int], end_tick: int) -> Wheel:
    """Follow the bends of one wheel."""
    wheel = Wheel([], [], {}, moves)
    cents = _DEFAULT_RANGE_CENTS
    bend = since = semitone = 0
    for tick, code, value in [*((e[0], e[5], e[6]) for e in events), (end_tick, BEND, 0)]:
        if semitone and tick > since:
            stay = wheel.stays.setdefault(semitone, _Stay([], [], []))
            so_far = stay.before[-1] + stay.stops[-1] - stay.starts[-1] if stay.starts else 0
            stay.starts.append(since)
            stay.stops.append(tick)
            stay.before.append(so_far)
        if code == BEND_RANGE:
            cents = value
        else:
            bend = value if code == BEND else 0
        bent = bend * cents / (100 * _FULL_BEND)
        semitone = round(bent) if abs(bent - round(bent)) <= _NEAR else 0
        since = tick
        wheel.ticks.append(tick)
        wheel.nearest.append(semitone)
    return wheel
