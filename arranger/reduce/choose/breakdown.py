"""What one path costs, term by term: the same as `arranger.reduce.choose.price`, for a reader.

The terms are those of the cost table. What is left out is told as ``tune``, ``bass`` and
``salience``, by what made the lost note worth something; ``delay`` is what a drum covers.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

from arranger.reduce.choose.costs import LEAP_LIMIT
from arranger.reduce.choose.price import repeat_costs

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.columns import Bools, Floats
    from arranger.reduce.choose.candidates import Problem
    from arranger.reduce.choose.costs import Costs


class State(NamedTuple):
    """What happens in a segment: the tone of each voice (-1: rest), and whether the drum sounds."""

    voice1: int
    voice2: int
    drum: bool


class _Tone(NamedTuple):
    pitch: int
    onset: int
    end: int
    part: int
    tune: float
    bass: float
    worth: float
    plain_worth: float
    repeats: int
    repeat_cost: float
    answers: int


SILENCE = State(-1, -1, False)


class Breakdown:
    """Tells the cost of states and moves of one problem.

    Parameters
    ----------
    problem
        The segments and tones.
    costs
        The cost table.
    turn_costs
        Shape (T, K): of holding a slot out of turn in voice 2 where chords are broken; None when
        they are nowhere.
    free_moves
        Shape (T,): where voice 2 moves freely except into and out of the tune, since it breaks
        chords; None for nowhere.
    change
        What each change of a voice costs beside, so that the song takes fewer bytes.
    """

    def __init__(
        self,
        problem: Problem,
        costs: Costs,
        turn_costs: Floats | None = None,
        free_moves: Bools | None = None,
        change: float = 0.0,
    ) -> None:
        tones = problem.tones
        columns = (
            tones.pitch, tones.onset, tones.end, tones.part, tones.tune, tones.bass, tones.worth,
            tones.plain_worth, tones.repeats, repeat_costs(tones, costs), problem.answers,
        )  # fmt: skip
        self._problem = problem
        self._costs = costs
        self._turn_costs = turn_costs
        self._free_moves = free_moves
        self._change = change
        self._tones = [_Tone(*row) for row in zip(*(c.tolist() for c in columns), strict=True)]
        self._sounding: list[list[int]] = [[] for _ in problem.starts]
        for tone, segment in zip(
            problem.incidence_tone.tolist(), problem.incidence_segment.tolist(), strict=True
        ):
            self._sounding[segment].append(tone)

    def of_path(self, path: Sequence[State], first: int = 0) -> Counter[str]:
        """Return the terms of a path whose first state is that of segment ``first``.

        The move into its first state is left out unless ``first`` is 0.
        """
        total: Counter[str] = Counter()
        before = SILENCE
        for t, state in enumerate(path, start=first):
            if t > first or first == 0:
                total.update(self._moves(t, before, state))
            for term, cost in self._node(t, state):
                total[term] += cost  # type: ignore[assignment]
            before = state
        return total

    def _moves(self, t: int, before: State, now: State) -> Counter[str]:
        found: Counter[str] = Counter()
        for voice, (old, new) in enumerate(
            ((before.voice1, now.voice1), (before.voice2, now.voice2))
        ):
            if old != new and self._change:
                found["bytes"] += self._change  # type: ignore[assignment]
            free = voice == 1 and self._free_moves is not None and self._free_moves[t]
            if free and not self._tune_in(old, new):
                continue
            for term, cost in self._move(t, old, new):
                found[term] += cost  # type: ignore[assignment]
        return found

    def _tune_in(self, *tones: int) -> bool:
        return any(tone >= 0 and self._tones[tone].tune >= 0.5 for tone in tones)

    def _move(self, t: int, old: int, new: int) -> Iterator[tuple[str, float]]:
        if old == new:
            return
        costs, step = self._costs, int(self._problem.starts[t])
        before = self._tones[old] if old >= 0 else None
        now = self._tones[new] if new >= 0 else None
        if before is not None and before.end > step:
            left = (before.end - step) / max(before.end - before.onset - 1, 1)
            yield "break", costs.break_off * costs.attack * before.worth * left
        if now is None:
            return
        if now.onset < step:
            yield "late", costs.late
        if before is None:
            yield "entry", costs.entry
            return
        yield "leap", costs.leap * min(abs(before.pitch - now.pitch), LEAP_LIMIT)
        if before.part != now.part:
            yield "line", costs.line

    def _node(self, t: int, state: State) -> Iterator[tuple[str, float]]:
        problem, costs = self._problem, self._costs
        step = int(problem.starts[t])
        beats = int(problem.lengths[t]) / problem.steps_per_beat
        silenced = state.drum and not problem.drum_is_free
        held = [v for v in (state.voice1, state.voice2) if v >= 0]
        for tone in self._sounding[t]:
            yield from self._left_out(t, step, beats, tone, held, silenced)
        if not state.drum:
            yield "drum", float(problem.drum_weights[t])
        if self._turn_costs is not None:
            slot = self._slot(t, state.voice2)
            yield "turn", float(self._turn_costs[t, slot])
        if silenced:
            for tone in held:
                note = self._tones[tone]
                if note.answers == t and note.onset < step:
                    yield "delay", (1 - costs.delay) * costs.attack * note.worth
            return
        for tone in held:
            note = self._tones[tone]
            if note.onset == step and note.repeats:
                yield ("gap" if note.repeats == 2 else "tied"), note.repeat_cost
        yield from self._pair(state, beats)

    def _slot(self, t: int, tone: int) -> int:
        return 0 if tone < 0 else self._problem.candidates[t].tolist().index(tone, 1)

    def _left_out(
        self, t: int, step: int, beats: float, tone: int, held: list[int], silenced: bool
    ) -> Iterator[tuple[str, float]]:
        """Yield what is lost of one tone that sounds in the song."""
        costs, lost = self._costs, self._tones[tone]
        heard = max((self._heard(h, tone) for h in held), default=0.0)
        sounding = 0.0 if silenced else heard
        yield from self._shared_out(lost, costs.sustain * beats * lost.worth, sounding / lost.worth)
        if lost.onset != step:
            return
        struck = [(h, self._heard(h, tone)) for h in held if self._tones[h].onset == step]
        if not silenced:
            best = max((share for _, share in struck), default=0.0)
            yield from self._shared_out(lost, costs.attack * lost.worth, best / lost.worth)
            return
        answered = [share for h, share in struck if self._tones[h].answers != t]
        best = max(answered, default=0.0)
        yield from self._shared_out(lost, costs.attack * lost.worth, best / lost.worth)
        yield "delay", costs.delay * costs.attack * best

    def _heard(self, held: int, tone: int) -> float:
        """Return how much of a tone's worth is heard while a voice holds some tone."""
        apart = self._tones[held].pitch - self._tones[tone].pitch
        if held == tone:
            return self._tones[tone].worth
        if apart == 0:
            return self._tones[tone].plain_worth
        return self._costs.octave * self._tones[tone].plain_worth if apart % 12 == 0 else 0.0

    def _shared_out(self, tone: _Tone, cost: float, share: float) -> Iterator[tuple[str, float]]:
        """Yield a loss by what makes the tone worth something; ``share`` of it is heard."""
        tune, bass = self._costs.tune * tone.tune, self._costs.bass * tone.bass
        # what another tone stands in for is the plain part, never tune and bass
        whole = share >= 1.0
        parts = (
            ("tune", tune, whole),
            ("bass", bass, whole),
            ("salience", tone.plain_worth - (0.0 if whole else share * tone.worth), whole),
        )
        for term, part, gone in parts:
            if part > 0 and not gone:
                yield term, cost * part / tone.worth

    def _pair(self, state: State, beats: float) -> Iterator[tuple[str, float]]:
        costs = self._costs
        one = self._tones[state.voice1] if state.voice1 >= 0 else None
        two = self._tones[state.voice2] if state.voice2 >= 0 else None
        if one is not None:
            yield "wrong-voice", beats * costs.wrong_voice * one.bass * (1 - one.tune)
        if two is not None:
            yield "wrong-voice", beats * costs.wrong_voice * two.tune * (1 - two.bass)
        if one is None or two is None:
            return
        if one.pitch < two.pitch:
            meant = (one.tune - one.bass) - (two.tune - two.bass)
            yield "crossing", beats * costs.crossing * (1 - min(max(meant, 0.0), 1.0))
        if (one.pitch - two.pitch) % 12 == 0:
            yield "doubling", beats * costs.doubling
