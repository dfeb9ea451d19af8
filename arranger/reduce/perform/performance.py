"""From the optimum to rows: gaps before repeated pitches, and tones under drums.

Two equal pitches in a row are one long tone. The later one is heard to start only if a drum parts
them or after a silence. An engine that can rest for less than a step does so where the later tone
starts; otherwise a silent step is taken from the end of the earlier tone when two of its steps or more
are heard, else the later attack is lost and the tones are tied.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import among, begins
from arranger.rows import HOLD, REST

if TYPE_CHECKING:
    from arranger.columns import Bools, Ints
    from arranger.engine.model import DrumSound
    from arranger.reduce.choose.candidates import ChoiceProblem
    from arranger.reduce.choose.groove import Hits
    from arranger.reduce.choose.optimum import Optimum
    from arranger.rows import Row


class Performance(NamedTuple):
    """What sounds."""

    rows: tuple[Row, Row]
    sources: tuple[Ints, Ints]
    """For each voice, shape (steps,): the tone that it holds, or -1."""
    hits: Hits
    """The drums."""


class Held(NamedTuple):
    """What the voices hold, in order of voice and step; each of shape (stretches,)."""

    voice: Ints
    tone: Ints
    start: Ints
    """The first step of each."""
    end: Ints
    """The step after its last, gaps not yet taken off."""


def held_in(problem: ChoiceProblem, optimum: Optimum) -> Held:
    """Return what the voices hold in an optimum."""
    found = []
    for voice, slots in ((1, optimum.slots1), (2, optimum.slots2)):
        tone = problem.candidates[np.arange(len(slots)), slots]
        changes = np.flatnonzero(begins(tone))
        start = problem.starts[changes]
        end = np.append(start[1:], problem.steps)[: len(start)]
        columns = Held(np.full(len(start), voice), tone[changes], start, end)
        found.append([column[columns.tone >= 0] for column in columns])
    return Held(*map(np.concatenate, zip(*found, strict=True)))


def perform(
    problem: ChoiceProblem,
    held: Held,
    hits: Hits,
    *,
    gap: DrumSound | None = None,
    least_worth: float = 0.0,
    verbatim: bool = False,
) -> Performance:
    """Return the rows.

    ``problem``: the segments and tones.
    ``held``: what the voices hold.
    ``hits``: the drums that sound.
    ``gap``: the engine's short silence, if it has one.
    ``least_worth``: of a tone that is parted by it from the one before.
    ``verbatim``: write everything where it stands: no gaps, and tones under drums too.
    """
    silent = np.zeros(problem.steps, dtype=np.bool_)
    silent[problem.starts[problem.covered]] = True
    if gap is not None and not verbatim:
        hits = hits.with_more(_short_gaps(problem, held, hits, least_worth), gap)
    whole = gap is None and not verbatim
    stretches = _stretches(problem, held, _Free(silent), hits.steps, gaps=whole)
    tied = _tied(stretches, hits.steps)
    row1, row2 = (_row(problem, stretches, tied, held.voice == voice, verbatim) for voice in (1, 2))
    return Performance(rows=(row1[0], row2[0]), sources=(row1[1], row2[1]), hits=hits)


def _short_gaps(
    problem: ChoiceProblem, held: Held, hits: Hits, least_worth: float
) -> dict[int, int]:
    """Return the steps on which a short silence parts a tone from the same pitch before, and its note."""
    tones, tone, start = problem.tones, held.tone, held.start
    pitch = tones.pitch[tone]
    parted = (start == tones.onset[tone]) & (tones.worth[tone] >= least_worth)
    parted &= ~among(start, hits.steps) & among(_at(start, pitch), _at(held.end, pitch))
    return dict(zip(start[parted].tolist(), tones.note[tone[parted]].tolist(), strict=True))


def _at(step: Ints, pitch: Ints) -> Ints:
    """Return numbers that are the same for the same pitches on the same steps."""
    return step << 7 | pitch


class _Free:
    """Steps on which tones are heard."""

    def __init__(self, silencing: Bools) -> None:
        free = np.flatnonzero(~silencing)
        self._steps = np.append(free, 0)  # where there is none, any number will do
        self._before = np.searchsorted(free, np.arange(len(silencing) + 1))

    def within(self, start: Ints, end: Ints) -> tuple[Ints, Ints, Ints]:
        """Return the first free step, the step after the last, and their number; or end, end, 0."""
        first, last = self._before[start], self._before[end]
        none = first == last
        heard = (
            np.where(none, end, self._steps[first]),
            np.where(none, end, self._steps[last - 1] + 1),
        )
        return *heard, last - first


class _Stretches(NamedTuple):
    """Tones in the voices; each of shape (stretches,)."""

    tone: Ints
    pitch: Ints
    start: Ints
    end: Ints
    """Exclusive; a gap is already taken off."""
    heard_start: Ints
    """The first step that no drum covers; ``end`` when there is none."""
    heard_end: Ints
    gap: Bools
    """Whether its last step was given up so that the next start is heard."""


def _stretches(
    problem: ChoiceProblem, held: Held, free: _Free, hits: Ints, *, gaps: bool
) -> _Stretches:
    """Return the stretches of both voices, gaps taken off."""
    start, until = held.start, held.end
    pitch = problem.tones.pitch[held.tone]
    struck = start == problem.tones.onset[held.tone]
    _, last, heard = free.within(start, until)
    gap = gaps & among(_at(until, pitch), _at(start, pitch)[struck]) & ~among(until, hits)
    gap &= (heard >= 2) & (last == until)
    end = until - gap
    heard_start, heard_end, _ = free.within(start, end)
    return _Stretches(held.tone, pitch, start, end, heard_start, heard_end, gap)


def _tied(found: _Stretches, hits: Ints) -> Bools:
    """Return which stretches go on with a pitch that sounds up to their start."""
    heard = found.heard_start < found.heard_end
    ended = _at(found.end, found.pitch)[heard & (found.heard_end == found.end) & ~found.gap]
    begun = heard & (found.heard_start == found.start) & ~among(found.start, hits)
    tied: Bools = begun & among(_at(found.start, found.pitch), ended)
    return tied


def _row(
    problem: ChoiceProblem, stretches: _Stretches, tied: Bools, mine: Bools, verbatim: bool
) -> tuple[Row, Ints]:
    """Return the cells of a voice, and the tone that it holds on each step."""
    row = np.full(problem.steps, REST, dtype=np.int64)
    source = np.full(problem.steps, -1, dtype=np.int64)
    written = mine & (verbatim | (stretches.heard_start < stretches.heard_end))
    tone, pitch, start, end = (column[written] for column in stretches[:4])
    steps = np.flatnonzero(_covered(start, end, problem.steps))
    row[steps], source[steps] = HOLD, np.repeat(tone, end - start)
    follows = (np.append(-1, end[:-1]) == start) & (np.append(-1, pitch[:-1]) == pitch)
    begun = verbatim | ~(tied[written] & follows[: len(start)])
    row[start[begun]] = pitch[begun]
    return tuple(row.tolist()), source


def _covered(start: Ints, end: Ints, steps: int) -> Bools:
    """Return which of so many steps lie in stretches that don't overlap."""
    change = np.bincount(start, minlength=steps + 1) - np.bincount(end, minlength=steps + 1)
    covered: Bools = np.cumsum(change)[:steps] > 0
    return covered
