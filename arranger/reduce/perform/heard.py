"""What finished rows let be heard: the one place that outcomes, spans and reasons are read from.

A voice is heard on a step when its row has a tone there and no drum silences the whole step; after
a drum that takes its own time only, it is heard in the rest of the step. A **run** is
a note that a voice holds from a step to another without a break; a drum inside it is a hole that it
goes on after. Two equal pitches in a row are one long tone, so a run is heard to start only if its
pitch wasn't heard on the step before, in either voice, or if a drum parts them.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from functools import cached_property
from operator import attrgetter
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import begins
from arranger.reduce.ledger import Span
from arranger.rows import pitches_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from arranger.columns import Bools, Ints
    from arranger.engine.model import DrumSound, Engine, StepLength
    from arranger.reduce.model import Reduction


class Hidden(NamedTuple):
    """What drums hide of the steps, from the start of each; shapes (steps,)."""

    seconds: Sequence[float]
    whole: Bools


class VoiceRun(NamedTuple):
    """A note in a voice, from a step to another."""

    voice: int
    """1 or 2."""
    note: int
    """The id of the note that it comes from."""
    pitch: int
    start: int
    end: int
    """Exclusive."""
    first: int
    """The first step that is heard."""
    last: int
    """The step after the last that is heard."""


_first = attrgetter("first")


class Heard:
    """Two rows, the notes they come from, and the steps on which drums silence them.

    ``rows``, ``sources``: for each voice, shape (steps,): cells, and the id of the note of each or
    -1.
    ``drum_sources``: shape (steps,): the id of the drum note that sounds on each step, or -1.
    ``hidden``: as of `hidden_by`.
    """

    def __init__(
        self,
        rows: Sequence[Sequence[int]],
        sources: Sequence[Sequence[int]],
        drum_sources: Sequence[int],
        hidden: Hidden,
    ) -> None:
        self.steps = len(drum_sources)
        self.drum_at = drum_sources
        self.sources = sources
        self.hidden = hidden.seconds
        self.silenced = silenced = hidden.whole
        self._free = np.flatnonzero(~silenced).tolist()
        self._all_free = len(self._free) == self.steps
        self._before: list[int] = np.append(0, np.cumsum(~silenced)).tolist()
        self.pitches = [pitches_of(row) for row in rows]
        """For each voice and step the pitch that it has, or -1, whether a drum silences it or not."""

    @cached_property
    def sounding(self) -> list[list[int]]:
        """For each voice and step the pitch that is heard, or -1."""
        return [np.where(self.silenced, -1, each).tolist() for each in self.pitches]

    @cached_property
    def runs(self) -> Mapping[int, list[VoiceRun]]:
        """By note, those that are heard on a step at least; in order of their start."""
        runs: dict[int, list[VoiceRun]] = {}
        for run in self._in_order:
            runs.setdefault(run.note, []).append(run)
        return runs

    @cached_property
    def _in_order(self) -> list[VoiceRun]:
        found = [run for voice in (1, 2) for run in self._runs(voice, self.pitches[voice - 1])]
        return sorted(found, key=lambda run: run.start)

    @cached_property
    def _by_class(self) -> Mapping[int, list[tuple[list[VoiceRun], list[int], list[int]]]]:
        """For each pitch class and voice its runs, where each begins, and where each ends."""
        found: dict[int, tuple[list[VoiceRun], list[VoiceRun]]] = {}
        for run in self._in_order:
            found.setdefault(run.pitch % 12, ([], []))[run.voice - 1].append(run)
        return {
            pitch_class: [(runs, [r.first for r in runs], [r.last for r in runs]) for runs in each]
            for pitch_class, each in found.items()
        }

    def _runs(self, voice: int, pitches: Ints) -> Iterator[VoiceRun]:
        source = np.array(self.sources[voice - 1], dtype=np.int64)
        changes = np.flatnonzero(begins(source) | begins(pitches)).tolist()
        notes, heights = source[changes].tolist(), pitches[changes].tolist()
        ends = [*changes[1:], self.steps][: len(changes)]
        for note, pitch, start, end in zip(notes, heights, changes, ends, strict=True):
            first, last = self._before[start], self._before[end]
            if note >= 0 and first < last:
                yield VoiceRun(
                    voice, note, pitch, start, end, self._free[first], self._free[last - 1] + 1
                )

    def free_steps(self, start: int, end: int) -> int:
        """Return on how many steps of a stretch voices can be heard."""
        return self._before[end] - self._before[start]

    def tied_to(self, run: VoiceRun) -> int | None:
        """Return the note whose tone a run only goes on with, or None if its start is heard."""
        before = run.first - 1
        if before < 0 or self.hidden[run.first] > 0:
            return None
        for voice in (run.voice, 3 - run.voice):
            note = self.sources[voice - 1][before]
            if self.sounding[voice - 1][before] == run.pitch and note not in (run.note, -1):
                return note
        return None

    def struck(self, step: int, pitch: int) -> int | None:
        """Return the note whose tone of that pitch is heard to start on a step, or None."""
        if step < self.steps:
            for voice in (0, 1):
                if self.sounding[voice][step] == pitch:
                    return self.sources[voice][step]
        return None

    def gap_before(self, run: VoiceRun) -> int | None:
        """Return the note that a run makes a silent step for, or None if it doesn't."""
        row = self.sources[run.voice - 1]
        if run.end >= self.steps or row[run.end] >= 0 or self.silenced[run.end]:
            return None
        return self.struck(run.end + 1, run.pitch)

    def within(self, pitch_class: int, start: int, end: int) -> list[VoiceRun]:
        """Return the runs of a pitch class that are heard in a stretch, in order of voice."""
        found: list[VoiceRun] = []
        for runs, firsts, lasts in self._by_class.get(pitch_class, ()):
            found += runs[bisect_right(lasts, start) : bisect_left(firsts, end)]
        if self._all_free:
            return found
        return [r for r in found if self.free_steps(max(r.first, start), min(r.last, end))]

    def heard_between(self, run: VoiceRun, start: int, end: int) -> Span:
        """Return the part of a stretch in which a run is heard."""
        low, high = self._before[max(run.first, start)], self._before[min(run.last, end)]
        return Span(run.voice, self._free[low], self._free[high - 1] + 1 - self._free[low])

    def heard_steps(self, runs: list[VoiceRun], start: int, end: int) -> int:
        """Return on how many steps of a stretch any of some runs is heard."""
        total, reached = 0, start
        for run in sorted(runs, key=_first):
            first, last = max(run.first, reached), min(run.last, end)
            if first < last:
                total += self._before[last] - self._before[first]
                reached = last
        return total


def hidden_by(
    engine: Engine,
    sounds: Mapping[str, DrumSound],
    drums: Sequence[str | None],
    step: StepLength,
) -> Hidden:
    """Return what the drums of a row hide; a name that isn't among the sounds hides nothing."""
    seconds = {name: engine.hidden_seconds(sounds[name], step) for name in sounds.keys() & {*drums}}
    silent = {name for name in seconds if engine.silences(sounds[name])}
    return Hidden(
        [seconds.get(name or "", 0.0) for name in drums],
        _silenced(drums, silent),
    )


def _silenced(drums: Sequence[str | None], silencing: Collection[str]) -> Bools:
    """Return on which steps of a row a drum silences both voices; most engines have none that does."""
    if not silencing:
        return np.zeros(len(drums), dtype=np.bool_)
    return np.array([name in silencing for name in drums], dtype=np.bool_)


def audible(reduction: Reduction, engine: Engine) -> list[Ints]:
    """Return for each voice the pitch that is heard on each step, or -1; shape (steps,)."""
    pitches = [pitches_of(row) for row in (reduction.voice1, reduction.voice2)]
    silencing = engine.silencing(reduction.drums)
    if not silencing:
        return pitches
    silenced = _silenced(reduction.drums, silencing)
    return [np.where(silenced, -1, each) for each in pitches]
