"""From the optimum to rows: gaps before repeated pitches, and tones under drums.

Two equal pitches in a row are one long tone. The later one is heard to start only if a drum parts
them or after a silence. An engine that can rest for less than a step does so where the later tone
starts; otherwise a silent step is taken from the end of the earlier tone when two of its steps or more
are heard, else the later attack is lost and the tones are tied.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import begins
from arranger.rows import HOLD, REST

if TYPE_CHECKING:
    from arranger.columns import Bools, Ints
    from arranger.engine.model import DrumSound
    from arranger.reduce.choose.candidates import Problem
    from arranger.reduce.choose.groove import Hits
    from arranger.reduce.choose.optimum import Optimum
    from arranger.rows import Row


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


class Performance(NamedTuple):
    """What sounds."""

    rows: tuple[Row, Row]
    sources: tuple[Ints, Ints]
    """For each voice, shape (steps,): the tone that it holds, or -1."""
    hits: Hits
    """The drums."""


class Held(NamedTuple):
    """A voice holds a tone from a step to another, gaps not yet taken off."""

    voice: int
    tone: int
    start: int
    end: int


def held_in(problem: Problem, optimum: Optimum) -> list[Held]:
    """Return what the voices hold in an optimum, in order of voice and step."""
    held: list[Held] = []
    for voice, slots in ((1, optimum.slots1), (2, optimum.slots2)):
        tone = problem.candidates[np.arange(len(slots)), slots]
        changes = np.flatnonzero(begins(tone))
        starts = problem.starts[changes].tolist()
        ends = [*starts[1:], problem.steps][: len(starts)]
        rows = zip(tone[changes].tolist(), starts, ends, strict=True)
        held.extend(Held(voice, now, start, end) for now, start, end in rows if now >= 0)
    return held


def perform(
    problem: Problem,
    held: list[Held],
    hits: Hits,
    *,
    gap: DrumSound | None = None,
    least_worth: float = 0.0,
    verbatim: bool = False,
) -> Performance:
    """Return the rows.

    Parameters
    ----------
    problem
        The segments and tones.
    held
        What the voices hold, in order of voice and step.
    hits
        The drums that sound.
    gap
        The engine's short silence, if it has one.
    least_worth
        Of a tone that is parted by it from the one before.
    verbatim
        Write everything where it stands: no gaps, and tones under drums too.
    """
    silent = np.zeros(problem.steps, dtype=np.bool_)
    silent[problem.starts[problem.covered]] = True
    if gap is not None and not verbatim:
        hits = hits.with_more(_short_gaps(problem, held, hits, least_worth), gap)
    hit_steps = frozenset(hits.steps.tolist())
    whole = gap is None and not verbatim
    stretches = _stretches(problem, held, _Free(silent), hit_steps, gaps=whole)
    stretches = _tied(problem, stretches, hit_steps)
    rows = [_row(problem, [s for s in stretches if s.voice == voice], verbatim) for voice in (1, 2)]
    return Performance(rows=(rows[0][0], rows[1][0]), sources=(rows[0][1], rows[1][1]), hits=hits)


def _short_gaps(
    problem: Problem, held: list[Held], hits: Hits, least_worth: float
) -> dict[int, int]:
    """Return the steps on which a short silence parts a tone from the same pitch before, and its note."""
    tones = problem.tones
    pitches, onsets, worth = tones.pitch.tolist(), tones.onset.tolist(), tones.worth.tolist()
    drums = frozenset(hits.steps.tolist())
    ended = {(end, pitches[tone]) for _, tone, _, end in held}
    return {
        start: int(tones.note[tone])
        for _, tone, start, _ in held
        if start == onsets[tone]
        and start not in drums
        and worth[tone] >= least_worth
        and (start, pitches[tone]) in ended
    }


class _Free:
    """Steps on which tones are heard."""

    def __init__(self, silencing: Bools) -> None:
        free = np.flatnonzero(~silencing)
        self._steps: list[int] = free.tolist()
        self._before: list[int] = np.searchsorted(free, np.arange(len(silencing) + 2)).tolist()

    def within(self, start: int, end: int) -> tuple[int, int, int]:
        """Return the first free step, the step after the last, and their number; or end, end, 0."""
        first, last = self._before[start], self._before[end]
        if first == last:
            return end, end, 0
        return self._steps[first], self._steps[last - 1] + 1, last - first


def _stretches(
    problem: Problem, held: list[Held], free: _Free, hits: frozenset[int], *, gaps: bool
) -> list[Stretch]:
    """Return the stretches of both voices, gaps taken off."""
    pitches, onsets = problem.tones.pitch.tolist(), problem.tones.onset.tolist()
    struck = {(start, pitches[now]) for _, now, start, _ in held if start == onsets[now]}
    found = []
    for voice, now, start, until in held:
        first, last, heard = free.within(start, until)
        repeated = gaps and (until, pitches[now]) in struck
        gap = repeated and heard >= 2 and last == until and until not in hits
        end = until - gap
        if gap:
            first, last, _ = free.within(start, end)
        found.append(Stretch(voice, now, start, end, first, last, gap, -1))
    return found


def _tied(problem: Problem, stretches: list[Stretch], hits: frozenset[int]) -> list[Stretch]:
    """Return the stretches with ties: those that go on with a pitch sounding up to their start."""
    pitches = problem.tones.pitch.tolist()
    ended = {
        (s.end, pitches[s.tone]): s.tone
        for s in stretches
        if s.heard_start < s.heard_end == s.end and not s.gap
    }
    return [
        s._replace(tied_to=ended[s.start, pitches[s.tone]])
        if s.heard_start == s.start < s.heard_end
        and s.start not in hits
        and (s.start, pitches[s.tone]) in ended
        else s
        for s in stretches
    ]


def _row(problem: Problem, stretches: list[Stretch], verbatim: bool) -> tuple[Row, Ints]:
    row = np.full(problem.steps, REST, dtype=np.int64)
    source = np.full(problem.steps, -1, dtype=np.int64)
    written = [s for s in stretches if s.heard_start < s.heard_end or verbatim]
    if written:
        tone, start, end, tied_to = np.array(
            [(s.tone, s.start, s.end, s.tied_to) for s in written]
        ).T
        length, pitch = end - start, problem.tones.pitch[tone]
        steps = np.repeat(end - np.cumsum(length), length) + np.arange(length.sum())
        row[steps], source[steps] = HOLD, np.repeat(tone, length)
        goes_on = (tied_to >= 0) & (np.append(-1, end[:-1]) == start) & (np.roll(pitch, 1) == pitch)
        begun = verbatim | ~goes_on
        row[start[begun]] = pitch[begun]
    return tuple(row.tolist()), source
