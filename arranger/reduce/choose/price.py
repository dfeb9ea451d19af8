"""The costs of all choices of all segments, in a few batched operations.

A path chooses for each segment what voice 1 holds (slot a), what voice 2 holds (slot b), and
whether the drum sounds. Its cost is the sum over segments of ``node[a, b]`` plus, for each voice,
``move1`` or ``move2`` from the slot before to the slot now.

Segments with about as many candidates are priced together, so that one dense passage doesn't make
the whole song slow. `arranger.reduce.choose.breakdown` says the same for one path, term by term.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, TypeVar

import numpy as np

from arranger.columns import distinct
from arranger.reduce.choose.costs import LEAP_LIMIT

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from arranger.columns import Bools, Floats, Ints
    from arranger.reduce.choose.candidates import Problem, Tones
    from arranger.reduce.choose.costs import Costs

_Kind = TypeVar("_Kind", bound=np.generic)

_WIDTHS = np.array((3, 5, 6, 7, 8, 10, 2**31))
"""Slots, the rest included, up to which segments are priced together."""

_MOST_CELLS = 32_768
"""Segments times pairs of slots that are priced at once: their arrays stay in the cache."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Priced:
    """Costs of a problem: lists with one array for each of T segments. K slots are in use."""

    node: list[Floats]
    """Shape (K, K): of holding a in voice 1 and b in voice 2, with the better choice of drum."""
    drum_sounds: dict[int, Bools]
    """Shape (K, K), for segments with a drum: whether the better choice is that it sounds."""
    move1: list[Floats]
    """Shape (K before, K): of voice 1 moving from the slot before to the slot now."""
    move2: list[Floats]
    """The same of voice 2."""


def price(problem: Problem, costs: Costs) -> Priced:
    """Return the costs of every choice."""
    counts = problem.counts
    before = np.append(1, counts[:-1])
    node: list[Floats] = [np.zeros((0, 0))] * len(counts)
    move = list(node)
    sounds: dict[int, Bools] = {}
    silent = _everything(problem, costs)
    now_counts, before_counts = counts.tolist(), before.tolist()
    for rows in _batches(np.maximum(counts, before)):
        width = int(max(counts[rows].max(), before[rows].max()))
        seen = _see(problem, rows, width)
        nodes, drums = _node_costs(problem, costs, seen, silent)
        moves = _move_costs(problem, costs, seen)
        for i, t in enumerate(rows.tolist()):
            now = now_counts[t]
            node[t] = nodes[i, :now, :now]
            move[t] = moves[i, : before_counts[t], :now]
        sounds.update(drums)
    return Priced(node=node, drum_sounds=sounds, move1=move, move2=list(move))


def _batches(counts: Ints) -> Iterator[Ints]:
    """Yield the segments, those with about as many slots together."""
    size = np.searchsorted(_WIDTHS, counts)
    for index in distinct(size).tolist():
        rows = np.flatnonzero(size == index)
        size_rows = max(_MOST_CELLS // int(counts[rows].max()) ** 2, 1)
        for start in range(0, len(rows), size_rows):
            yield rows[start : start + size_rows]


class _Seen(NamedTuple):
    """The slots of some segments (rows), all arrays of shape (rows, K)."""

    rows: Ints
    """Shape (rows,): the segments."""
    start: Ints
    """Shape (rows, 1): in steps."""
    slots: Ints
    used: Bools
    fresh: Bools
    """The tone starts here."""
    pitch: Ints
    worth: Floats


def _see(problem: Problem, rows: Ints, width: int) -> _Seen:
    tones = problem.tones
    slots = problem.candidates[rows, :width]
    used, start = slots >= 0, problem.starts[rows, None]
    fresh = used & (_of(tones.onset, slots) == start)
    return _Seen(rows, start, slots, used, fresh, _of(tones.pitch, slots), _of(tones.worth, slots))


def _move_costs(problem: Problem, costs: Costs, seen: _Seen) -> Floats:
    """Return what it costs one voice to go from each slot before to each slot; (rows, K, K).

    Before the first segment both voices rest, in slot 0.
    """
    tones, now, rests = problem.tones, seen.slots, ~seen.used
    before = problem.candidates[seen.rows - 1, : now.shape[1]]
    before[seen.rows == 0] = -1
    rested = before < 0

    end, length = _of(tones.end, before), _of(tones.end - tones.onset, before)
    left = np.maximum(end - seen.start, 0) / np.maximum(length - 1, 1)
    breaking = costs.break_off * costs.attack * _of(tones.worth, before) * left
    breaking[rested] = 0.0
    late = np.where(seen.fresh | rests, 0.0, costs.late)

    distance = np.abs(_of(tones.pitch, before)[:, :, None] - seen.pitch[:, None, :])
    going: Floats = costs.leap * np.minimum(distance, LEAP_LIMIT)
    going += costs.line * (_of(tones.part, before)[:, :, None] != _of(tones.part, now)[:, None, :])
    going[rested[:, :, None] | rests[:, None, :]] = 0.0
    going += costs.entry * (rested[:, :, None] & seen.used[:, None, :])
    going += breaking[:, :, None] + late[:, None, :]
    going[(before[:, :, None] == now[:, None, :]) & seen.used[:, None, :]] = 0.0
    return going


def repeat_costs(tones: Tones, costs: Costs) -> Floats:
    """Return what it costs each tone that it repeats the pitch before it."""
    tied = costs.tied * costs.attack * tones.worth
    return np.where(tones.repeats == 2, costs.gap, np.where(tones.repeats == 1, tied, 0.0))


def _node_costs(
    problem: Problem, costs: Costs, seen: _Seen, silent: tuple[Floats, Floats]
) -> tuple[Floats, Iterator[tuple[int, Bools]]]:
    tones, slots, fresh = problem.tones, seen.slots, seen.fresh
    beats = problem.lengths[seen.rows] / problem.steps_per_beat

    # heard[row, a, j]: what of candidate j's worth is heard when a voice holds candidate a
    together = seen.used[:, :, None] & seen.used[:, None, :]
    apart = seen.pitch[:, :, None] - seen.pitch[:, None, :]
    pitch_class = seen.pitch % 12
    same_class = together & (pitch_class[:, :, None] == pitch_class[:, None, :])
    itself = np.arange(slots.shape[1])
    same_class[:, itself, itself] = False  # no two voices hold one tone
    plain = _of(tones.plain_worth, slots)[:, None, :]
    heard = np.where(apart == 0, plain, costs.octave * plain) * same_class
    heard[:, itself, itself] = np.where(seen.used, seen.worth, 0.0)
    struck = heard * (costs.attack * (fresh[:, :, None] & fresh[:, None, :]))
    sound, attack = costs.sustain * heard.sum(axis=2), struck.sum(axis=2)
    repeated = np.where(fresh, _of(repeat_costs(tones, costs), slots), 0.0)

    tune, bass = _of(tones.tune, slots), _of(tones.bass, slots)
    wrong1 = np.where(seen.used, costs.wrong_voice * bass * (1 - tune), 0.0)
    wrong2 = np.where(seen.used, costs.wrong_voice * tune * (1 - bass), 0.0)

    # what both voices together are worth less than each alone, per beat and per attack
    leans = tune - bass
    unmeant = 1.0 - np.minimum(np.maximum(leans[:, :, None] - leans[:, None, :], 0.0), 1.0)
    pair = costs.crossing * ((apart < 0) & together) * unmeant + costs.doubling * same_class
    shared_attack = np.zeros_like(pair)
    t, a, b = np.nonzero(same_class & (itself[:, None] < itself))
    shared = costs.sustain * np.minimum(heard[t, a], heard[t, b]).sum(axis=1)
    pair[t, a, b] += shared
    pair[t, b, a] += shared
    shared = np.minimum(struck[t, a], struck[t, b]).sum(axis=1)
    shared_attack[t, a, b] = shared_attack[t, b, a] = shared

    lost = silent[0][seen.rows] * beats + silent[1][seen.rows]
    node: Floats = lost[:, None, None] + beats[:, None, None] * pair + shared_attack
    node -= (beats[:, None] * (sound - wrong1) + attack - repeated)[:, :, None]
    node -= (beats[:, None] * (sound - wrong2) + attack - repeated)[:, None, :]
    sounds = _choose_drums(problem, costs, seen, node, lost, attack, shared_attack)
    node[:, itself[1:], itself[1:]] = np.inf
    return node, sounds


def _choose_drums(
    problem: Problem,
    costs: Costs,
    seen: _Seen,
    node: Floats,
    lost: Floats,
    attack: Floats,
    shared_attack: Floats,
) -> Iterator[tuple[int, Bools]]:
    """Lower ``node`` to the better choice where there is a drum; return where it sounds."""
    weights = problem.drum_weights[seen.rows]
    with_drum = np.flatnonzero(weights > 0)
    segments = seen.rows[with_drum]
    if problem.drum_is_free:
        always = np.ones(node.shape[1:], dtype=np.bool_)
        return iter([(t, always) for t in segments.tolist()])
    answers = _of(problem.answers, seen.slots[with_drum])
    answering = seen.used[with_drum] & (answers == segments[:, None])
    later = np.where(answering, 0.0, (1.0 - costs.delay) * attack[with_drum])
    unheard = np.where(answering & ~seen.fresh[with_drum], (1.0 - costs.delay) * costs.attack, 0.0)
    later -= unheard * seen.worth[with_drum]
    twice = ~(answering[:, :, None] | answering[:, None, :])
    covered = lost[with_drum, None, None] + (1.0 - costs.delay) * shared_attack[with_drum] * twice
    covered = covered - later[:, :, None] - later[:, None, :]
    quiet = node[with_drum] + weights[with_drum, None, None]
    node[with_drum] = np.minimum(covered, quiet)
    return zip(segments.tolist(), covered < quiet, strict=True)


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
