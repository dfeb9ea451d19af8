"""Pedals that stay down through many harmonies, or are never lifted: sound that no player would want.

Such a pedal is taken to have been changed with the harmony, as a pianist does it: what only the
pedal holds ends where a low tone is struck with which a new harmony comes, and after
`LONGEST` beats at the latest. New is a harmony of which a tone lies a second from one that rings, in
any octave; low, up to an octave above the lowest that sounds (over it a melody may pass through).

The rule was chosen by what players do: in piano parts of POP909 (Wang et al., ISMIR 2020) whose pedal
was made to stay down, notes share 0.83 of their time with those of the player, on 43 songs that it
was not chosen by 0.82; with the pedal left out 0.62, and when all ring on 0.20
(`tests.benchmarks.held_pedals`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.errors import one_line
from arranger.song.time import seconds_at

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.columns import Bools, Ints
    from arranger.song.midi.raw import RawNotes
    from arranger.song.model import Song

LONG = 8
"""Beats for which a pedal must stay down to count as held through harmonies."""
MANY = 3
"""...and the new harmonies that must come meanwhile."""
LONGEST = 4
"""Beats from its start that a note goes on for when only such a pedal holds it."""
LOW = 12
"""Semitones above the lowest tone that sounds, up to which a tone may bring a new harmony."""
TOGETHER = 1 / 16
"""Beats between two onsets that count as one."""

MOST_NAMES = 3
"""Parts that a remark names."""
STAYS_DOWN = "down through many harmonies"
"""What the remark on such pedals says, and no other."""

_NEAR = [sum(1 << (pitch + step) % 12 for step in (-2, -1, 1, 2)) for pitch in range(12)]
"""By pitch class, the classes a second away, as bits."""


class HeldPedal(NamedTuple):
    """A sustain pedal that stays down through many harmonies."""

    channel: int
    """``16 * port + channel``."""
    start: int
    """In ticks."""
    end: int


def end_with_harmony(
    notes: RawNotes, played: Ints, spans: Sequence[tuple[int, int]], ticks_per_beat: int
) -> list[HeldPedal]:
    """End notes with their harmony where a channel's pedal is held through many; return where.

    ``notes``: all raw notes; their ends, and how long they ring, are changed in place.
    ``played``: the places of the channel's notes, rising.
    ``spans``: from where to where, in ticks, its pedal is down.
    """
    found = []
    long = [(start, end) for start, end in spans if end - start > LONG * ticks_per_beat]
    onset, reached = notes.onset[played], np.maximum.accumulate(notes.end[played])
    for start, end in long:
        first = np.searchsorted(reached, start, side="right")
        mine = played[first : np.searchsorted(onset, end)]
        mine = mine[notes.end[mine] > start]
        before = notes.end[mine]
        up = before - notes.rings[mine]
        ends, harmonies = harmony_ends(
            notes.onset[mine], up, before, notes.pitch[mine], ticks_per_beat
        )
        if harmonies >= MANY:
            notes.end[mine] = ends
            notes.rings[mine] = ends - up
            found.append(HeldPedal(int(notes.channel[mine[0]]), start, end))
    return found


def harmony_ends(
    onset: Ints, up: Ints, end: Ints, pitch: Ints, ticks_per_beat: int
) -> tuple[Ints, int]:
    """Return where notes under one pedal end if it is changed with the harmony, and how often it is.

    ``onset``, ``up``, ``end``: shape (n,), in ticks, in order of onset: where notes start, their
    keys come up, and the pedal lets them end.
    ``pitch``: shape (n,).
    """
    touch = int(TOGETHER * ticks_per_beat)
    ends = np.maximum(up, np.minimum(end, onset + LONGEST * ticks_per_beat)).tolist()
    ups, pitches = up.tolist(), pitch.tolist()
    sounding: dict[int, int] = {}  # by pitch
    changes = 0
    for at, struck in _attacks(onset.tolist(), touch):
        sounding = {pitch: note for pitch, note in sounding.items() if ends[note] > at}
        if sounding and min(pitches[note] for note in struck) <= min(sounding) + LOW:
            ringing = [n for n in sounding.values() if ups[n] <= at + touch < ends[n]]
            near = 0
            for note in struck:
                near |= _NEAR[pitches[note] % 12]
            if any(near >> pitches[note] % 12 & 1 for note in ringing):
                changes += 1
                for note in ringing:
                    ends[note] = max(ups[note], at)
        sounding.update((pitches[note], note) for note in struck)
    return np.array(ends, dtype=np.int64), changes


def _attacks(onsets: list[int], touch: int) -> Iterator[tuple[int, range]]:
    """Yield where notes are struck together, and which."""
    first = 0
    for place in range(1, len(onsets) + 1):
        if place == len(onsets) or onsets[place] - onsets[first] > touch:
            yield onsets[first], range(first, place)
            first = place


def remarks_on(song: Song, channels: Ints, held: Sequence[HeldPedal]) -> tuple[str, ...]:
    """Return what to tell of pedals that are held; ``channels`` are those of the raw notes."""
    rings: Bools = (song.columns.rings > 0) & ~song.columns.drum
    rings &= np.isin(channels, list({pedal.channel for pedal in held}))
    heard = set(channels[rings].tolist())
    held = [pedal for pedal in held if pedal.channel in heard]
    if not held:
        return ()
    parts = np.flatnonzero(np.bincount(song.columns.part[rings])).tolist()
    names = [f"'{one_line(song.parts[part].name)}'" for part in parts]
    if len(names) > MOST_NAMES:
        names[MOST_NAMES - 1 :] = [f"{len(names) - MOST_NAMES + 1} more parts"]
    listed = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    stays = f"pedal of {listed} stays" if len(names) == 1 else f"pedals of {listed} stay"
    longest = max(held, key=lambda pedal: pedal.end - pedal.start)
    start, end = seconds_at(song, (longest.start, longest.end)).tolist()
    where = f"from {_minutes(start)} to {_minutes(end)}"
    if len(held) > 1:
        where = f"{len(held)} times, the longest {where}"
    return (f"the {stays} {STAYS_DOWN}, {where}; notes are taken to end where the harmony changes",)


def _minutes(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02}"
