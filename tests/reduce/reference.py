"""The cost of a path written down step by step, and the best path by trying them all.

Written from the words of `arranger.reduce.choose.costs`, in plain Python without segments, candidates or
arrays: the oracle for the dynamic programme. Voices may change on every step.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.reduce.choose.candidates import Tones
    from arranger.reduce.choose.costs import Costs


class PlainTone(NamedTuple):
    pitch: int
    onset: int
    end: int
    part: int
    tune: float
    bass: float
    worth: float
    plain_worth: float


class State(NamedTuple):
    """What happens on a step: the tone of each voice (or None), and whether the drum sounds."""

    voice1: int | None
    voice2: int | None
    drum: bool


class Song(NamedTuple):
    tones: list[PlainTone]
    steps: int
    steps_per_beat: float
    drums: dict[int, float]
    """What leaving out the drum on a step costs."""


def plain(tones: Tones) -> list[PlainTone]:
    columns = (
        tones.pitch,
        tones.onset,
        tones.end,
        tones.part,
        tones.tune,
        tones.bass,
        tones.worth,
        tones.plain_worth,
    )
    return [PlainTone(*row) for row in zip(*(c.tolist() for c in columns), strict=True)]


def states(song: Song, step: int) -> list[State]:
    choices = [None, *(i for i, t in enumerate(song.tones) if t.onset <= step < t.end)]
    drums = (False, True) if step in song.drums else (False,)
    return [
        State(a, b, drum) for a, b, drum in product(choices, choices, drums) if a is None or a != b
    ]


def heard(song: Song, held: int | None, other: int, costs: Costs) -> float:
    """Return how much of a tone's worth is heard while a voice holds some tone."""
    if held is None:
        return 0.0
    if held == other:
        return song.tones[other].worth
    up = song.tones[held].pitch - song.tones[other].pitch
    if up == 0:
        return song.tones[other].plain_worth
    return costs.octave * song.tones[other].plain_worth if up % 12 == 0 else 0.0


def node_cost(song: Song, step: int, state: State, costs: Costs) -> float:
    beat = 1 / song.steps_per_beat
    voices = (state.voice1, state.voice2)
    cost = 0.0 if state.drum else song.drums.get(step, 0.0)
    for other, tone in enumerate(song.tones):
        if not tone.onset <= step < tone.end:
            continue
        best = 0.0 if state.drum else max(heard(song, v, other, costs) for v in voices)
        cost += costs.sustain * beat * (tone.worth - best)
        if tone.onset == step:
            struck = [
                heard(song, v, other, costs) * _attack_left(song, v, state.drum, costs)
                for v in voices
                if v is not None and song.tones[v].onset == step
            ]
            cost += costs.attack * (tone.worth - max(struck, default=0.0))
    if state.drum:
        unheard = [
            song.tones[v]
            for v in voices
            if v is not None and song.tones[v].onset < step == _answering(song, v)
        ]
        return cost + sum((1 - costs.delay) * costs.attack * tone.worth for tone in unheard)
    cost += sum(
        _repeat_cost(song, v, costs)
        for v in voices
        if v is not None and song.tones[v].onset == step
    )
    one, two = (None if v is None else song.tones[v] for v in voices)
    if one is not None:
        cost += beat * costs.wrong_voice * one.bass * (1 - one.tune)
    if two is not None:
        cost += beat * costs.wrong_voice * two.tune * (1 - two.bass)
    if one is not None and two is not None:
        if one.pitch < two.pitch:
            meant = (one.tune - one.bass) - (two.tune - two.bass)
            cost += beat * costs.crossing * (1 - min(max(meant, 0.0), 1.0))
        if (one.pitch - two.pitch) % 12 == 0:
            cost += beat * costs.doubling
    return cost


def _attack_left(song: Song, held: int, drum: bool, costs: Costs) -> float:
    if not drum:
        return 1.0
    return 0.0 if _answering(song, held) == song.tones[held].onset else 1 - costs.delay


def _answering(song: Song, held: int) -> int | None:
    """Return the step of the lightest drum, where drums could sound on all steps of a tone."""
    steps = range(song.tones[held].onset, song.tones[held].end)
    if any(s not in song.drums for s in steps):
        return None
    return min(steps, key=lambda s: (song.drums[s], s))


def _repeat_cost(song: Song, held: int, costs: Costs) -> float:
    tone = song.tones[held]
    before = [t for t in song.tones if t.pitch == tone.pitch and t.end == tone.onset]
    if not before:
        return 0.0
    if any(t.end - t.onset >= 2 for t in before):
        return costs.gap
    return costs.tied * costs.attack * tone.worth


def move_cost(song: Song, step: int, before: int | None, now: int | None, costs: Costs) -> float:
    if before == now:
        return 0.0
    cost = 0.0
    old = None if before is None else song.tones[before]
    new = None if now is None else song.tones[now]
    if old is not None and old.end > step:
        share = (old.end - step) / (old.end - old.onset - 1)
        cost += costs.break_off * costs.attack * old.worth * share
    if new is None:
        return cost
    if new.onset < step:
        cost += costs.late
    if old is None:
        return cost + costs.entry
    cost += costs.leap * min(abs(old.pitch - new.pitch), 12) + costs.line * (old.part != new.part)
    return cost


def path_cost(song: Song, path: tuple[State, ...], costs: Costs) -> float:
    cost = 0.0
    before = State(None, None, False)
    for step, state in enumerate(path):
        cost += node_cost(song, step, state, costs)
        cost += move_cost(song, step, before.voice1, state.voice1, costs)
        cost += move_cost(song, step, before.voice2, state.voice2, costs)
        before = state
    return cost


def all_paths(song: Song) -> Iterator[tuple[State, ...]]:
    return product(*(states(song, step) for step in range(song.steps)))


def least_by_trying_all(song: Song, costs: Costs) -> float:
    return min(path_cost(song, path, costs) for path in all_paths(song))


def least_step_by_step(song: Song, costs: Costs) -> float:
    """Return the least cost by a plain table over steps, for songs too long to try all."""
    table = {State(None, None, False): 0.0}
    for step in range(song.steps):
        table = {
            state: node_cost(song, step, state, costs)
            + min(
                cost
                + move_cost(song, step, before.voice1, state.voice1, costs)
                + move_cost(song, step, before.voice2, state.voice2, costs)
                for before, cost in table.items()
            )
            for state in states(song, step)
        }
    return min(table.values())
