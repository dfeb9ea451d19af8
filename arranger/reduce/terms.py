"""The costs of all choices of all segments, a few batched operations for the whole song.

A path chooses for each segment what voice 1 holds (slot a), what voice 2 holds (slot b), and
whether the drum sounds. Its cost is the sum over segments of ``node[a, b]`` plus, for each voice,
``move1`` or ``move2`` from the slot before to the slot now.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from arranger.reduce.cost import LEAP_LIMIT

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.reduce.candidates import Bools, Floats, Ints, Problem, Tones
    from arranger.reduce.cost import Costs

_Kind = TypeVar("_Kind", bound=np.generic)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Priced:
    """Costs of a problem. T segments, K slots."""

    node: Floats
    """Shape (T, K, K): of holding a in voice 1 and b in voice 2, with the better choice of drum."""
    drum_sounds: Bools
    """Shape (T, K, K): whether that better choice is that the drum sounds."""
    move1: Floats
    """Shape (T, K, K): of voice 1 moving from the slot before (axis 1) to the slot now (axis 2)."""
    move2: Floats
    """The same of voice 2."""


def price(problem: Problem, costs: Costs) -> Priced:
    """Return the costs of every choice."""
    node, sounds = _node_costs(problem, costs)
    move = move_costs(problem, costs)
    return Priced(node=node, drum_sounds=sounds, move1=move, move2=move)


def move_costs(problem: Problem, costs: Costs) -> Floats:
    """Return what it costs one voice to go from each slot to each slot of the next segment.

    Before the first segment both voices rest, in slot 0.
    """
    tones, now = problem.tones, problem.candidates
    before = np.vstack((np.full((1, now.shape[1]), -1, dtype=np.int64), now[:-1]))
    start = problem.starts[:, None]
    rests, rested = now < 0, before < 0

    length = tones.end - tones.onset
    attack = costs.attack * tones.worth
    left = np.clip(_of(tones.end, before) - start, 0, None)
    breaking = costs.break_off * _of(attack, before) * left / np.maximum(_of(length, before) - 1, 1)
    breaking[rested] = 0.0
    fresh = _of(tones.onset, now) == start
    late = np.where(fresh | rests, 0.0, costs.late)

    old, new = before[:, :, None], now[:, None, :]
    both = ~(rested[:, :, None] | rests[:, None, :])
    distance = np.abs(_of(tones.pitch, before)[:, :, None] - _of(tones.pitch, now)[:, None, :])
    going: Floats = costs.leap * np.minimum(distance, LEAP_LIMIT)
    going += costs.line * (_of(tones.part, before)[:, :, None] != _of(tones.part, now)[:, None, :])
    going[~both] = 0.0
    going += costs.entry * (rested[:, :, None] & ~rests[:, None, :])
    going += breaking[:, :, None] + late[:, None, :]
    going[(old == new) & both] = 0.0
    return going


def repeat_costs(tones: Tones, costs: Costs) -> Floats:
    """Return what it costs each tone that it repeats the pitch before it."""
    tied = costs.tied * costs.attack * tones.worth
    return np.where(tones.repeats == 2, costs.gap, np.where(tones.repeats == 1, tied, 0.0))


def _node_costs(problem: Problem, costs: Costs) -> tuple[Floats, Bools]:
    tones, slots = problem.tones, problem.candidates
    used = slots >= 0
    beat = 1.0 / problem.steps_per_beat
    beats = problem.lengths * beat
    starts = used & (_of(tones.onset, slots) == problem.starts[:, None])

    # heard[t, a, j]: what of candidate j's worth is heard when a voice holds candidate a
    pitch = _of(tones.pitch, slots)
    together = used[:, :, None] & used[:, None, :]
    same_pitch = together & (pitch[:, :, None] == pitch[:, None, :])
    same_class = together & ((pitch[:, :, None] - pitch[:, None, :]) % 12 == 0)
    heard = np.where(same_pitch, _of(tones.worth, slots)[:, None, :], 0.0)
    heard += np.where(
        same_class & ~same_pitch, costs.octave * _of(tones.octave_worth, slots)[:, None, :], 0.0
    )
    struck = costs.attack * heard * (starts[:, :, None] & starts[:, None, :])
    sound, attack = costs.sustain * heard.sum(axis=2), struck.sum(axis=2)
    repeated = np.where(starts, _of(repeat_costs(tones, costs), slots), 0.0)

    tune, bass = _of(tones.tune, slots), _of(tones.bass, slots)
    wrong1 = np.where(used, costs.wrong_voice * bass * (1 - tune), 0.0)
    wrong2 = np.where(used, costs.wrong_voice * tune * (1 - bass), 0.0)

    # what both voices together are worth less than each alone, per beat and per attack
    leans = tune - bass
    below = together & (pitch[:, :, None] < pitch[:, None, :])
    unmeant = 1.0 - np.clip(leans[:, :, None] - leans[:, None, :], 0.0, 1.0)
    pair = costs.crossing * below * unmeant + costs.doubling * same_class
    shared_attack = np.zeros_like(pair)
    t, a, b = np.nonzero(same_class)
    pair[t, a, b] += costs.sustain * np.minimum(heard[t, a], heard[t, b]).sum(axis=1)
    shared = np.minimum(struck[t, a], struck[t, b]).sum(axis=1)
    shared_attack[t, a, b] = shared

    everything = _everything(problem, costs)
    silent = (everything[0] * beats + everything[1])[:, None, None]
    node: Floats = silent + beats[:, None, None] * pair + shared_attack
    node -= (beats[:, None] * (sound - wrong1) + attack - repeated)[:, :, None]
    node -= (beats[:, None] * (sound - wrong2) + attack - repeated)[:, None, :]
    own = np.arange(1, slots.shape[1])

    sounds = np.zeros(node.shape, dtype=np.bool_)
    drums = np.flatnonzero(problem.drum_weights > 0)
    if problem.drum_is_free:
        sounds[drums] = True
    elif len(drums):
        answering = used[drums] & (_of(problem.answers, slots[drums]) == drums[:, None])
        later = np.where(answering, 0.0, (1.0 - costs.delay) * attack[drums])
        unheard = np.where(answering & ~starts[drums], (1.0 - costs.delay) * costs.attack, 0.0)
        later -= unheard * _of(tones.worth, slots[drums])
        twice = ~(answering[:, :, None] | answering[:, None, :])
        struck_over = silent[drums] + (1.0 - costs.delay) * shared_attack[drums] * twice
        struck_over = struck_over - later[:, :, None] - later[:, None, :]
        quiet = node[drums] + problem.drum_weights[drums, None, None]
        sounds[drums] = struck_over < quiet
        node[drums] = np.minimum(struck_over, quiet)
    node[:, own, own] = np.inf
    return node, sounds


def _of(values: NDArray[_Kind], slots: Ints) -> NDArray[_Kind]:
    """Return the values of the tones in the slots; 0 where there is none."""
    return np.append(values, np.zeros(1, dtype=values.dtype))[slots]


def _everything(problem: Problem, costs: Costs) -> tuple[Floats, Floats]:
    """Return for each segment the cost of leaving out all that sounds: per beat, and attacks."""
    tones, count = problem.tones, len(problem.starts)
    worth = tones.worth[problem.incidence_tone]
    sound = np.bincount(problem.incidence_segment, costs.sustain * worth, count)
    first = np.searchsorted(problem.starts, tones.onset)
    attack = np.bincount(first, costs.attack * tones.worth, count)
    return sound.astype(np.float64), attack.astype(np.float64)
