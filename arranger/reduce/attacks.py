"""From the optimum to rows: gaps before repeated pitches, and tones under drums.

Two equal pitches in a row are one long tone. The later one is heard to start only after a silent
step: a drum that silences the voices makes one; otherwise it is taken from the end of the earlier
tone when two of its steps or more are heard, else the later attack is lost and the tones are tied.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.sheet.model import HOLD, REST

if TYPE_CHECKING:
    from arranger.reduce.candidates import Bools, Ints, Problem
    from arranger.reduce.optimum import Optimum
    from arranger.sheet.model import Row


class Stretch(NamedTuple):
    """A tone in a voice, from a step to another."""

    voice: int
    tone: int
    start: int
    end: int
    """Exclusive; a gap is already taken off."""
    heard_start: int
    """The first step that no drum covers; ``end`` when there is none."""
    heard_end: int
    gap: bool
    """Whether its last step was given up so that the next start is heard."""
    tied_to: int
    """The tone before, when this one only goes on with it; else -1."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Performance:
    """What sounds."""

    rows: tuple[Row, Row]
    sources: tuple[Ints, Ints]
    """For each voice, shape (steps,): the tone that it holds, or -1."""
    stretches: tuple[Stretch, ...]
    """In order of voice, then step; also those that drums cover wholly."""
    drum_on: Bools
    """Shape (steps,): whether a drum sounds."""


def perform(problem: Problem, optimum: Optimum) -> Performance:
    """Return the rows that play the optimum."""
    drum_on = np.zeros(problem.steps, dtype=np.bool_)
    drum_on[problem.starts[optimum.drum]] = True
    silencing = np.zeros_like(drum_on) if problem.drum_is_free else drum_on
    free = np.flatnonzero(~silencing)
    first_free = np.searchsorted(free, np.arange(problem.steps + 1)).tolist()
    free_steps = free.tolist()
    stretches: list[Stretch] = []
    rows, sources = [], []
    for voice, slots in ((1, optimum.slots1), (2, optimum.slots2)):
        found = _stretches(problem, slots, voice, first_free, free_steps)
        row, source = _row(problem, found)
        stretches.extend(found)
        rows.append(row)
        sources.append(source)
    return Performance(
        rows=(rows[0], rows[1]),
        sources=(sources[0], sources[1]),
        stretches=tuple(stretches),
        drum_on=drum_on,
    )


def _stretches(
    problem: Problem, slots: Ints, voice: int, first_free: list[int], free: list[int]
) -> list[Stretch]:
    tone = problem.candidates[np.arange(len(slots)), slots]
    changes = np.flatnonzero(np.diff(tone, prepend=-1))
    tones = tone[changes].tolist()
    starts = problem.starts[changes].tolist()
    ends = [*starts[1:], problem.steps]
    pitches, onsets = problem.tones.pitch.tolist(), problem.tones.onset.tolist()
    found: list[Stretch] = []
    for i, (now, start, end) in enumerate(zip(tones, starts, ends, strict=True)):
        if now < 0:
            continue
        after = tones[i + 1] if i + 1 < len(tones) else -1
        heard = first_free[end] - first_free[start]
        gap = (
            after >= 0
            and pitches[after] == pitches[now]
            and onsets[after] == end
            and heard >= 2
            and first_free[end - 1] < first_free[end]
            and (first_free[end] < first_free[end + 1] if end < problem.steps else True)
        )
        stop = end - gap
        heard_start = free[first_free[start]] if heard else stop
        heard_end = free[first_free[stop] - 1] + 1 if heard else stop
        before = found[-1] if found else None
        joined = (
            before is not None
            and before.end == start
            and before.heard_start < before.heard_end == start
            and heard_start == start
            and pitches[before.tone] == pitches[now]
        )
        tied_to = before.tone if joined and before is not None else -1
        found.append(Stretch(voice, now, start, stop, heard_start, heard_end, bool(gap), tied_to))
    return found


def _row(problem: Problem, stretches: list[Stretch]) -> tuple[Row, Ints]:
    row = np.full(problem.steps, REST, dtype=np.int64)
    source = np.full(problem.steps, -1, dtype=np.int64)
    for stretch in stretches:
        if stretch.heard_start >= stretch.heard_end:
            continue
        row[stretch.start : stretch.end] = HOLD
        source[stretch.start : stretch.end] = stretch.tone
        if stretch.tied_to < 0:
            row[stretch.start] = problem.tones.pitch[stretch.tone]
    return tuple(row.tolist()), source
