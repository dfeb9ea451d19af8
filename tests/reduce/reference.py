"""The cost of a path written down step by step, and the best path by trying them all.

Written from the words of `arranger.reduce.choose.costs`, in plain Python without segments, candidates or
arrays: the oracle for the dynamic programme. Voices may change on every step. Costs are whole units,
rounded where `arranger.reduce.choose.rates` says.
"""

from __future__ import annotations

from itertools import product
from math import ceil, floor
from typing import TYPE_CHECKING, NamedTuple

from arranger.reduce.choose.rates import UNITS

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
    plain_worth: float
    released: int
    """From this step on only a pedal holds it."""


class State(NamedTuple):
    """What happens on a step: the tone of each voice (or None)."""

    voice1: int | None
    voice2: int | None


class Song(NamedTuple):
    tones: list[PlainTone]
    steps: int
    steps_per_beat: float
    hits: frozenset[int] = frozenset()
    """The steps with a drum."""
    silent: frozenset[int] = frozenset()
    """Those on which it silences both voices."""
    step_seconds: float = 0.1
    change: int = 0
    """What each change of a voice costs beside, in units."""
    turn: tuple[dict[int | None, int], dict[int | None, int]] | None = None
    """What holding a tone costs each voice beside for each step, in units. None where no chords are
    broken."""
    free: tuple[bool, bool] = (False, False)
    """Whether then each voice moves freely, except into and out of the tune."""


def plain(tones: Tones) -> list[PlainTone]:
    columns = (
        tones.pitch,
        tones.onset,
        tones.end,
        tones.part,
        tones.tune,
        tones.bass,
        tones.plain_worth,
        tones.released,
    )
    return [PlainTone(*row) for row in zip(*(c.tolist() for c in columns), strict=True)]


def states(song: Song, step: int) -> list[State]:
    choices = [None, *(i for i, t in enumerate(song.tones) if t.onset <= step < t.end)]
    return [State(a, b) for a, b in product(choices, choices) if a is None or a != b]


def units(cost: float) -> int:
    return round(cost * UNITS)


def start_worth(tone: PlainTone, costs: Costs) -> int:
    return _worth(tone, costs, costs.attack)


def _worth(tone: PlainTone, costs: Costs, share: float) -> int:
    tune, bass = share * costs.tune * tone.tune, share * costs.bass * tone.bass
    return units(tune) + units(bass) + units(share * tone.plain_worth)


def heard(song: Song, held: int | None, other: int, costs: Costs, share: float) -> int:
    """Return how much of a tone's worth is heard while a voice holds some tone."""
    tone = song.tones[other]
    if held is None:
        return 0
    if held == other:
        return _worth(tone, costs, share)
    up = song.tones[held].pitch - tone.pitch
    if up == 0:
        return units(share * tone.plain_worth)
    return units(share * costs.octave * tone.plain_worth) if up % 12 == 0 else 0


def node_cost(song: Song, step: int, state: State, costs: Costs) -> int:
    beat = 1 / song.steps_per_beat
    voices = (state.voice1, state.voice2)
    cost = 0
    if song.turn is not None:
        cost = song.turn[0][state.voice1] + song.turn[1][state.voice2]
    silent = step in song.silent
    for other, tone in enumerate(song.tones):
        if not tone.onset <= step < tone.end:
            continue
        a_step = costs.sustain * beat
        if step >= tone.released:
            a_step *= costs.ring
        sounding = max(heard(song, v, other, costs, a_step) for v in voices)
        cost += _worth(tone, costs, a_step) - (0 if silent else sounding)
        if tone.onset == step:
            struck = [
                heard(song, v, other, costs, costs.attack)
                for v in voices
                if v is not None and song.tones[v].onset == step
                if not song.silent.issuperset(range(step, song.tones[v].end))
            ]
            best = max(struck, default=0)
            cost += start_worth(tone, costs) - best
            if silent:
                cost += round(costs.delay * best)
    if silent:
        return cost
    cost += scrap_cost(song, step, state.voice1, costs)
    cost += sum(
        _repeat_cost(song, v, costs)
        for v in voices
        if v is not None and song.tones[v].onset == step
    )
    one, two = (None if v is None else song.tones[v] for v in voices)
    if one is not None and one.onset == step:
        worth = units(costs.attack * costs.bass * one.bass)
        cost += floor(costs.wrong_voice * (1 - one.tune) * worth)
    if two is not None and two.onset == step:
        worth = units(costs.attack * costs.tune * two.tune)
        cost += floor(costs.wrong_voice * (1 - two.bass) * worth)
    if one is not None and two is not None:
        if one.pitch < two.pitch:
            meant = (one.tune - one.bass) - (two.tune - two.bass)
            cost += units(costs.crossing * beat * (1 - min(max(meant, 0.0), 1.0)))
        if one.pitch == two.pitch:
            cost += units(costs.unison * beat)
        elif (one.pitch - two.pitch) % 12 == 0:
            cost += units(costs.doubling * beat)
    return cost


def breath(song: Song, step: int) -> range:
    """Return the steps around one on which the tune is silent, if it sounds before and after."""

    def silent(at: int) -> bool:
        return not any(t.onset <= at < t.end for t in song.tones if t.tune >= 0.5)

    if not silent(step):
        return range(0)
    first, last = step, step
    while first >= 0 and silent(first):
        first -= 1
    while last < song.steps and silent(last):
        last += 1
    long = last - first - 1 > 4 * song.steps_per_beat
    return range(0) if first < 0 or last == song.steps or long else range(first + 1, last)


def scrap_cost(song: Song, step: int, held: int | None, costs: Costs) -> int:
    """Return what voice 1 pays for a tone of a part that starts no phrase in the tune's breath."""
    within = breath(song, step)
    if held is None or not within:
        return 0
    tone = song.tones[held]
    if len({t.onset for t in song.tones if t.part == tone.part and t.onset in within}) >= 2:
        return 0
    each = start_worth(tone, costs) / (tone.end - tone.onset)
    each += _worth(tone, costs, costs.sustain / song.steps_per_beat)
    return floor(costs.scrap * each)


def _repeat_cost(song: Song, held: int, costs: Costs) -> int:
    tone = song.tones[held]
    before = [t for t in song.tones if t.pitch == tone.pitch and t.end == tone.onset]
    if not before or tone.onset in song.hits:
        return 0
    if any(t.end - t.onset >= 2 for t in before):
        return units(costs.gap)
    return round(costs.tied * start_worth(tone, costs))


def move_cost(song: Song, step: int, before: int | None, now: int | None, costs: Costs) -> int:
    if before == now:
        return 0
    cost = 0
    old = None if before is None else song.tones[before]
    new = None if now is None else song.tones[now]
    if old is not None and old.released > step:
        whole = costs.break_off * start_worth(old, costs)
        cost += (old.released - step) * ceil(whole / (old.released - old.onset - 1))
    if new is None:
        return cost
    quick = 10 * units(costs.split)
    if new.onset < step:
        cost += max(units(costs.late), quick)
    if old is None:
        return cost + max(units(costs.entry), 12 * units(costs.leap) + quick + units(costs.line))
    leap = min(abs(old.pitch - new.pitch), 12)
    if new.onset == step:
        fast = (0.2 - (step - old.onset) * song.step_seconds) / (0.2 - 0.1)
        cost += max(leap - 2, 0) * floor(min(max(fast, 0.0), 1.0) * units(costs.split))
    over = old.part != new.part or (old.tune >= 0.5) != (new.tune >= 0.5)
    return cost + leap * units(costs.leap) + over * units(costs.line)


def moves_cost(song: Song, step: int, before: State, now: State, costs: Costs) -> int:
    cost = 0
    for old, new, free in zip(before, now, song.free, strict=True):
        cost += (old != new) * song.change
        tune = any(v is not None and song.tones[v].tune >= 0.5 for v in (old, new))
        if song.turn is None or not free or tune:
            cost += move_cost(song, step, old, new, costs)
    return cost


def path_cost(song: Song, path: tuple[State, ...], costs: Costs) -> int:
    cost = 0
    before = State(None, None)
    for step, state in enumerate(path):
        cost += node_cost(song, step, state, costs)
        cost += moves_cost(song, step, before, state, costs)
        before = state
    return cost


def all_paths(song: Song) -> Iterator[tuple[State, ...]]:
    return product(*(states(song, step) for step in range(song.steps)))


def least_by_trying_all(song: Song, costs: Costs) -> int:
    return min(path_cost(song, path, costs) for path in all_paths(song))


def least_step_by_step(song: Song, costs: Costs) -> int:
    """Return the least cost by a plain table over steps, for songs too long to try all."""
    table = {State(None, None): 0}
    for step in range(song.steps):
        table = {
            state: node_cost(song, step, state, costs)
            + min(
                cost + moves_cost(song, step, before, state, costs)
                for before, cost in table.items()
            )
            for state in states(song, step)
        }
    return min(table.values())
