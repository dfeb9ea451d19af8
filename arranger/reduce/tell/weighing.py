"""What was weighed in a bar: the choice made, the nearest others, and what they would have cost."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.errors import SettingsError
from arranger.pitch import pitch_name
from arranger.reduce.choose.optimum import Optimum, forward, solve, traced_back
from arranger.reduce.choose.prepare import prepare, rates
from arranger.reduce.choose.price import VoiceState, breakdown, price
from arranger.reduce.choose.rates import FAR, UNITS
from arranger.reduce.choose.turns import asked_for
from arranger.reduce.perform.byte_limit import price_of, priced_hits, with_dear_changes
from arranger.reduce.tell.sentences import in_a_row
from arranger.reduce.tell.texture_line import texture_line

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from arranger.columns import Ints
    from arranger.engine.model import Engine
    from arranger.grid.model import Grid, GridBar
    from arranger.reduce.choose.prepare import Prepared
    from arranger.reduce.choose.price import Priced
    from arranger.reduce.choose.rates import Rates
    from arranger.reduce.perform.byte_limit import Measure
    from arranger.settings import ReduceSettings
    from arranger.song.model import Song

_LEAST = 5e-4
"""A difference of a term below this is not told."""


class Choice(NamedTuple):
    """One way to play the bar."""

    differs: tuple[str, ...]
    """What is otherwise than in the choice made, such as "beat 3: voice 2 has B4 of 'strings'"."""
    cost: float
    """More than the choice made, in beats of the tune."""
    terms: Mapping[str, float]
    """The difference by term of the cost table, largest first; they add up to the cost."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BarWeighing:
    """What was weighed in one bar."""

    bar: int
    texture: str
    """Which texture the passage has, and why."""
    held: tuple[str, ...]
    """What each voice and the drums have in the choice made, in words."""
    turns: tuple[str, ...]
    """Of each voice that takes turns among the notes of chords: whether it takes all, in words."""
    terms: Mapping[str, float]
    """What the choice made costs in this bar, by term, largest first."""
    others: tuple[Choice, ...]
    """The next best that sound different in this bar, cheapest first."""
    song_bar: int | None = None
    """The song's number of the bar; None: the same."""


def weigh_bar(
    song: Song,
    engine: Engine,
    grid: Grid,
    settings: ReduceSettings,
    bar_number: int,
    *,
    most: int = 3,
    measure: Measure | None = None,
) -> BarWeighing:
    """Return what was weighed in a bar of the sheet; ``measure`` as for `arranger.reduce.reduce`.

    Raises `SettingsError` if the sheet has no such bar, or its texture weighs nothing; `LimitError`
    if the song can't be simplified to the bytes that it may take.
    """
    bar = next((bar for bar in grid.bars if bar.number == bar_number), None)
    if bar is None:
        first, last = grid.bars[0].number, grid.bars[-1].number
        raise SettingsError(
            f"there is no bar {bar_number}", remedy=f"the sheet has bars {first} to {last}"
        )
    if settings.texture == "as-written":
        raise SettingsError("the texture as-written weighs nothing: each part is its voice")
    prepared = prepare(song, engine, grid, settings)
    change = price_of(measure, grid, prepared, settings.max_bytes)
    prepared = priced_hits(prepared, grid, change)
    priced = with_dear_changes(rates(prepared, grid), change)
    return _Weighing(song, grid, priced, bar, prepared).told(most)


class _Weighing:
    """The optimum of the whole song, seen from one bar."""

    def __init__(
        self, song: Song, grid: Grid, rates: Rates, bar: GridBar, prepared: Prepared
    ) -> None:
        self._song = song
        self._grid = grid
        self._bar = bar
        self._rates = rates
        self._prepared = prepared
        self._priced = price(rates)
        self._problem = rates.problem
        self._asked = asked_for(rates.problem, grid, prepared.broken, prepared.lines)
        low, high = bar.first_step, bar.first_step + bar.steps
        starts = self._problem.starts
        self._first = int(np.searchsorted(starts, low, side="right")) - 1
        self._after = int(np.searchsorted(starts, high))

    def told(self, most: int) -> BarWeighing:
        best = self._states(solve(self._priced))
        first, after = self._first, self._after
        own = breakdown(self._rates, best[first:after], first)
        return BarWeighing(
            bar=self._bar.number,
            texture=self._texture(),
            held=tuple(self._in_words(best)),
            turns=tuple(self._turns(best)),
            terms=_sorted(own),
            others=tuple(self._others(best, most)),
        )

    def _texture(self) -> str:
        number = self._bar.number
        passages = self._prepared.passages
        here = next(p for p in passages if p.first_bar <= number <= p.last_bar)
        return str(texture_line(here, self._song.parts))

    def _turns(self, best: list[VoiceState]) -> Iterator[str]:
        """Yield for each voice that takes turns whether it takes all that it is asked for."""
        for i, asked in enumerate(self._asked):
            missed: list[str] = []
            before = None
            for t in range(self._first, self._after):
                due = self._due(i, t, best[t][i])
                if due and due != before:
                    missed.append(f"{due} on {self._beat(int(self._problem.starts[t]))}")
                before = due
            if (asked[self._first : self._after] >= 0).any():
                but = f" but those of {in_a_row(missed)}" if missed else ""
                yield f"voice {i + 1} takes all its turns{but}"

    def _due(self, voice: int, t: int, tone: int) -> str:
        """Return whose turn it is in a voice that holds something else; empty if there is none."""
        wanted = int(self._asked[voice, t])
        taken = tone >= 0 and int(self._problem.tones.pitch[tone]) == wanted
        return pitch_name(wanted) if wanted >= 0 and not taken else ""

    def _states(self, optimum: Optimum) -> list[VoiceState]:
        every = np.arange(len(optimum.slots1))
        candidates = self._problem.candidates
        columns = (
            candidates[every, optimum.slots1].tolist(),
            candidates[every, optimum.slots2].tolist(),
        )
        return [VoiceState(*row) for row in zip(*columns, strict=True)]

    def _others(self, best: list[VoiceState], most: int) -> Iterator[Choice]:
        """Yield the cheapest paths that sound different from each other in the bar."""
        reached, halves = forward(self._priced)
        left = _left(self._priced)
        ways: list[tuple[int, int, int, int]] = []
        for t in range(self._first, self._after):
            through = reached[t] + left[t]
            order = np.argsort(through, axis=None)[: 8 * most]
            ways.extend((int(through.flat[i]), t, *divmod(int(i), through.shape[1])) for i in order)
        ways.sort()
        seen = {self._sound(best)}
        found = 0
        for cost, t, a, b in ways:
            if found == most or cost >= FAR:
                return
            path = self._through(reached, halves, left, t, a, b)
            if self._sound(path) in seen:
                continue
            seen.add(self._sound(path))
            found += 1
            yield self._choice(best, path)

    def _through(
        self, reached: list[Ints], halves: list[Ints], left: list[Ints], t: int, a: int, b: int
    ) -> list[VoiceState]:
        """Return the cheapest path through one state."""
        path = [(a, b), *traced_back(self._priced, reached[: t + 1], halves, a, b)][::-1]
        onwards = zip(self._priced.segments(), left, strict=True)
        for (node, move1, move2), to_come in islice(onwards, t + 1, None):
            onward = node + to_come + move1[a][:, None] + move2[b]
            a, b = divmod(int(onward.argmin()), onward.shape[1])
            path.append((a, b))
        slots = np.array(path, dtype=np.int64)
        return self._states(Optimum(slots1=slots[:, 0], slots2=slots[:, 1], cost=0))

    def _sound(self, path: list[VoiceState]) -> tuple[frozenset[int], ...]:
        """Return what is heard of a path in the bar: the voices sound alike."""
        pitch = [*self._problem.tones.pitch.tolist(), -1]
        return tuple(
            frozenset((pitch[s.voice1], pitch[s.voice2])) for s in path[self._first : self._after]
        )

    def _choice(self, best: list[VoiceState], path: list[VoiceState]) -> Choice:
        differ = [t for t, (x, y) in enumerate(zip(best, path, strict=True)) if x != y]
        first, last = max(differ[0] - 1, 0), min(differ[-1] + 2, len(best))
        terms = breakdown(self._rates, path[first:last], first)
        terms.subtract(breakdown(self._rates, best[first:last], first))
        return Choice(
            differs=tuple(self._differences(best, path)),
            cost=terms.total() / UNITS,
            terms=_sorted(terms),
        )

    def _differences(self, best: list[VoiceState], path: list[VoiceState]) -> Iterator[str]:
        """Yield where in the bar and how a path differs, neighbouring segments as one."""
        said = ["", ""]
        for t in range(self._first, self._after):
            for i, what in enumerate(("voice 1", "voice 2")):
                if path[t][i] == best[t][i]:
                    said[i] = ""
                    continue
                words = self._words(path[t][i])
                if words != said[i]:
                    said[i] = words
                    due = self._due(i, t, path[t][i])
                    beat = self._beat(int(self._problem.starts[t]))
                    yield f"{beat}: {what} {words}{f' in the turn of {due}' if due else ''}"

    def _words(self, tone: int) -> str:
        return f"has {self._name(tone)}" if tone >= 0 else "rests"

    def _name(self, tone: int) -> str:
        note = self._song.notes[int(self._problem.tones.note[tone])]
        heard = pitch_name(int(self._problem.tones.pitch[tone]))
        return f"{heard} of '{self._song.parts[note.part].name}'"

    def _in_words(self, path: list[VoiceState]) -> Iterator[str]:
        for i, what in enumerate(("voice 1", "voice 2")):
            said: list[str] = []
            before = None
            for t in range(self._first, self._after):
                now = path[t][i]
                if now != before:
                    words = self._name(now) if now >= 0 else "rests"
                    said.append(f"{self._beat(int(self._problem.starts[t]))} {words}")
                before = now
            yield f"{what}: {', '.join(said)}"
        low, high = self._bar.first_step, self._bar.first_step + self._bar.steps
        hits = self._prepared.hits
        sounds = zip(hits.steps.tolist(), hits.sounds, strict=True)
        drums = [f"{self._beat(step)} {drum.name}" for step, drum in sounds if low <= step < high]
        yield f"drums: {', '.join(drums) or 'silent'}"

    def _beat(self, step: int) -> str:
        place = max(step - self._bar.first_step, 0)
        beat = 1 + place * float(self._grid.step_beats) * self._bar.denominator / 4
        return f"beat {round(beat, 2):g}"


def _left(priced: Priced) -> list[Ints]:
    """Return for each segment and state the least cost of all that follows."""
    costs = list(priced.segments())
    found: list[Ints] = [np.zeros_like(costs[-1][0])]
    for node, move1, move2 in costs[:0:-1]:
        half = (move1[:, :, None] + (node + found[-1])[None]).min(axis=1)
        found.append((move2[None] + half[:, None, :]).min(axis=2))
    return found[::-1]


def _sorted(terms: Mapping[str, int]) -> dict[str, float]:
    """Return terms in beats of the tune, largest first."""
    told = {term: cost / UNITS for term, cost in terms.items() if abs(cost) >= _LEAST * UNITS}
    return dict(sorted(told.items(), key=lambda item: (-abs(item[1]), item[0])))
