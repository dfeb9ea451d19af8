"""Where bar lines are heard, once the beats are known: the network over quarters of beats (`slots`).

The network gives the odds of a bar line at each slot. The likeliest bars are found by dynamic
programming: a bar has one of a few lengths, a new length costs `CHANGE` on the way in and on the way
out, and unusual lengths cost a little each.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.track.evidence import find_evidence
from arranger.grid.track.networks.frames import CHANNELS as FRAME_CHANNELS
from arranger.grid.track.networks.frames import CLASSES, STARTING, frames_of, sounding_notes
from arranger.grid.track.networks.likeness import COLUMNS, likeness
from arranger.grid.track.networks.network import load, network_odds

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.attacks import Attacks
    from arranger.grid.track.evidence import AttackEvidence
    from arranger.grid.track.networks.layers import Frames
    from arranger.song.notes import TimedColumns

SLOTS_A_BEAT = 4
USUAL_SECONDS = 0.6
SUREST = 5.0
"""Log odds beyond this count as this."""
NOTHING = -0.5
"""Highest log odds of a bar line where nothing starts; no beat is heard there."""
LOW_SHARE = 0.3
"""The share of a song's notes that are low."""
CHANNELS = FRAME_CHANNELS + COLUMNS
CHANGE = 8.0
SLOT_LENGTHS = ((8, 0.3), (12, 0.0), (16, 0.0), (20, 2.0), (24, 0.3))
"""Lengths of a bar in slots, and what each costs a bar."""
BEAT_LENGTHS = ((2, 0.5), (3, 0.3), (4, 0.0), (5, 1.0), (6, 0.5), (7, 1.0))
"""The same in beats, for beats that were tracked."""


class LikeliestBars(NamedTuple):
    """Bar lines that were heard."""

    lines: Ints
    """Slots or beats, rising; they go on to both ends of the song."""
    score: float
    """Log odds gained, less what lengths and changes cost."""


def bar_frames(
    notes: TimedColumns,
    attacks: Attacks,
    evidence: AttackEvidence,
    start: Floats,
    end: Floats,
    beat_seconds: float,
) -> Frames:
    """Return what the network is shown, from beat 0 on; ``start`` and ``end`` of notes in beats.

    The columns of `frames`, and those of `likeness` before the last one; shape (slots, CHANNELS).
    """
    at = attacks.mean(start) * SLOTS_A_BEAT
    count = int(np.ceil(at[-1])) + 4 * SLOTS_A_BEAT
    tempo = float(np.clip(np.log2(beat_seconds / USUAL_SECONDS), -2.0, 2.0))
    sounding = (start * SLOTS_A_BEAT, end * SLOTS_A_BEAT)
    frames = frames_of(notes, attacks, evidence, at, sounding, count, tempo)
    pitched = notes.pitch[~notes.drum]
    highest = float(np.sort(pitched)[int(LOW_SHARE * (len(pitched) - 1))]) if len(pitched) else 0.0
    starting, sounds = (
        frames[:, first : first + CLASSES].astype(np.float64)
        for first in (STARTING, STARTING + CLASSES)
    )
    low = sounding_notes(notes, sounding, count, highest).classes(count).astype(np.float64)
    alike = likeness(sounds, low, starting, frames[:, 0].astype(np.float64))
    return np.concatenate((frames[:, :-1], alike, frames[:, -1:]), axis=1)


def hear_lines(
    notes: TimedColumns,
    attacks: Attacks,
    ticks_per_beat: int,
    bpm: float,
    evidence: AttackEvidence | None = None,
) -> Floats:
    """Return the log odds of a beat and of a bar line at each slot of a file, shape (slots, 2).

    ``evidence``: of the attacks, if that is known already.
    """
    start, end = notes.onset / ticks_per_beat, notes.end / ticks_per_beat
    found = find_evidence(notes, attacks) if evidence is None else evidence
    frames = bar_frames(notes, attacks, found, start, end, 60.0 / bpm)
    odds = np.clip(network_odds(load("bars.npz"), frames).astype(np.float64), -SUREST, SUREST)
    nothing = frames[:, 0] == 0.0
    odds[nothing, 0] = -SUREST
    odds[nothing, 1] = np.minimum(odds[nothing, 1], NOTHING)
    return odds


def likeliest_bars(odds: Floats, lengths: tuple[tuple[int, float], ...]) -> LikeliestBars | None:
    """Return the likeliest bars, given the log odds of a line at each place; None if none pays."""
    gains, sizes = odds.tolist(), [size for size, _ in lengths]
    kinds = range(len(sizes))
    score = [[0.0] * len(sizes) for _ in gains]
    came = [[-1] * len(sizes) for _ in gains]
    best, kind_of = [0.0] * len(gains), [0] * len(gains)
    for place, gain in enumerate(gains):
        row, origin = score[place], came[place]
        for kind, (size, cost) in enumerate(lengths):
            before, value = place - size, 0.0
            if before >= 0:
                same, other = score[before][kind] - cost, best[before] - CHANGE - cost
                if same >= other and same > value:
                    value, origin[kind] = same, kind
                elif other > same and other > value:
                    value, origin[kind] = other, kind_of[before]
            row[kind] = value + gain
        kind_of[place] = max(kinds, key=row.__getitem__)
        best[place] = row[kind_of[place]]
    place = max(range(len(gains)), key=best.__getitem__)
    total, kind, lines = best[place], kind_of[place], [place]
    while came[place][kind] >= 0:
        place, kind = place - sizes[kind], came[place][kind]
        lines.append(place)
    if len(lines) < 2:
        return None
    return LikeliestBars(_to_both_ends(lines[::-1], len(gains)), total)


def _to_both_ends(lines: list[int], count: int) -> Ints:
    """Return lines with more before the first and after the last, as far apart as those there."""
    head, tail = lines[1] - lines[0], lines[-1] - lines[-2]
    before = np.arange(lines[0] - head * (lines[0] // head), lines[0], head)
    after = np.arange(lines[-1] + tail, count + tail, tail)
    return np.concatenate((before, np.array(lines), after)).astype(np.int64)
