"""The dynamic programme finds what trying everything finds."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from arranger.errors import SettingsError, UsageError
from arranger.reduce.choose.candidates import (
    NO_STEPS,
    ChoiceProblem,
    Tones,
    _longest,
    find_repeats,
    lay_out,
)
from arranger.reduce.choose.costs import TERMS, Costs, costs_from
from arranger.reduce.choose.optimum import Optimum, solve
from arranger.reduce.choose.price import VoiceState, breakdown, price, prices
from arranger.reduce.choose.rates import FAR, UNITS, Rates, rates_of
from tests.reduce import reference

if TYPE_CHECKING:
    from collections.abc import Mapping

NOTHING = reference.Song([], 1, 4.0)
SHARES = st.sampled_from((0.0, 0.3, 1.0))


@st.composite
def tone_rows(draw: st.DrawFn, steps: int) -> reference.PlainTone:
    onset = draw(st.integers(0, steps - 1))
    tune, bass = draw(SHARES), draw(SHARES)
    plain = draw(st.sampled_from((0.15, 0.3, 0.9)))
    end = draw(st.integers(onset + 1, steps))
    return reference.PlainTone(
        pitch=draw(st.sampled_from((48, 60, 62, 72))),
        onset=onset,
        end=end,
        part=draw(st.integers(0, 1)),
        tune=tune,
        bass=bass,
        plain_worth=plain,
        released=draw(st.just(end) | st.integers(onset + 1, end)),
    )


@st.composite
def songs(draw: st.DrawFn, *, most_steps: int, most_tones: int) -> reference.Song:
    steps = draw(st.integers(1, most_steps))
    rows = draw(
        st.lists(
            tone_rows(steps), max_size=most_tones, unique_by=lambda t: (t.pitch, t.onset, t.end)
        )
    )
    hits = draw(st.frozensets(st.integers(0, steps - 1), max_size=5))
    rows.sort(key=lambda t: (t.onset, t.end, t.pitch))
    turns = st.fixed_dictionaries(
        {tone: st.integers(0, 2**20) for tone in (None, *range(len(rows)))}
    )
    return reference.Song(
        rows,
        steps,
        draw(st.sampled_from((1.0, 2.0, 3.0, 4.0))),
        hits,
        draw(st.frozensets(st.sampled_from(sorted(hits)))) if hits else hits,
        step_seconds=draw(st.sampled_from((0.06, 0.1, 0.15))),
        change=draw(st.sampled_from((0, 0, 300_000))),
        turn=draw(st.none() | st.tuples(turns, turns)),
        free=draw(st.tuples(st.booleans(), st.booleans())),
    )


def problem_of(song: reference.Song, most: int = 12) -> ChoiceProblem:
    names = ("pitch", "onset", "end", "part", "tune", "bass", "plain_worth", "released")
    columns = [np.array([getattr(t, name) for t in song.tones]) for name in names]
    ints = [column.astype(np.int64) for column in columns[:4]]
    tones = Tones(
        note=np.arange(len(song.tones)),
        pitch=ints[0],
        onset=ints[1],
        end=ints[2],
        released=columns[7].astype(np.int64),
        part=ints[3],
        tune=columns[4].astype(np.float64),
        bass=columns[5].astype(np.float64),
        worth=columns[4] + 0.7 * columns[5] + columns[6],
        plain_worth=columns[6].astype(np.float64),
        repeats=find_repeats(ints[0], ints[1], ints[2]),
    )
    return lay_out(
        tones,
        steps=song.steps,
        steps_per_beat=song.steps_per_beat,
        hit_steps=np.array(sorted(song.hits), dtype=np.int64),
        silent_steps=np.array(sorted(song.silent), dtype=np.int64),
        # where voices move freely, when it may move is part of what is asked
        more_bounds=NO_STEPS if song.turn is None else np.arange(song.steps),
        most=most,
    )


def rates_for(song: reference.Song, problem: ChoiceProblem, costs: Costs) -> Rates:
    rates = rates_of(problem, costs, song.step_seconds)._replace(change=song.change)
    if song.turn is None:
        return rates
    held = [None if tone < 0 else tone for tone in problem.candidates.ravel().tolist()]
    turn = np.array([[each[tone] for tone in held] for each in song.turn])
    turn = turn.reshape(2, *problem.candidates.shape) * problem.lengths[:, None]
    free = np.repeat(np.array(song.free)[:, None], len(problem.starts), axis=1)
    return rates._replace(turn=turn, free=free)


def as_path(problem: ChoiceProblem, optimum: Optimum) -> tuple[reference.State, ...]:
    """Return the optimum spelled out step by step."""
    path = []
    for t, length in enumerate(problem.lengths.tolist()):
        held = problem.candidates[t, [optimum.slots1[t], optimum.slots2[t]]].tolist()
        a, b = (None if tone < 0 else tone for tone in held)
        path.extend([reference.State(a, b)] * length)
    return tuple(path)


def as_states(problem: ChoiceProblem, optimum: Optimum) -> list[VoiceState]:
    """Return the optimum a segment a state, as the breakdown takes it."""
    every = np.arange(len(problem.starts))
    held = (problem.candidates[every, s].tolist() for s in (optimum.slots1, optimum.slots2))
    return [VoiceState(*row) for row in zip(*held, strict=True)]


COSTS: tuple[Mapping[str, float], ...] = (
    {},
    {"leap": 0.0, "line": 0.06, "split": 0.0, "entry": 0.06},
    {"split": 0.005, "late": 0.05, "entry": 0.148},
    {"crossing": 0.4, "doubling": 0.3, "wrong-voice": 0.6, "scrap": 3.0},
    {"entry": 0.5, "line": 0.1, "leap": 0.01, "split": 0.02, "late": 0.2, "gap": 0.07},
    {"attack": 1.5, "sustain": 0.1, "delay": 0.9, "octave": 0.8, "tied": 1.0, "wrong-voice": 0.0},
    {"ring": 0.0, "sustain": 1.5},
    {"tune": 1.6, "bass": 0.4},
    {"ring": 1.0, "split": 0.0, "late": 0.0},
)


@settings(max_examples=60, deadline=None)
@given(songs(most_steps=4, most_tones=3), st.sampled_from(COSTS))
def test_the_optimum_is_the_best_of_all_paths(
    song: reference.Song, overrides: Mapping[str, float]
) -> None:
    ways = np.prod([float(len(reference.states(song, s))) for s in range(song.steps)])
    assume(ways <= 4000)
    costs = costs_from(overrides)
    problem = problem_of(song)
    optimum = solve(price(rates_for(song, problem, costs)))
    assert optimum.cost == reference.least_by_trying_all(song, costs)
    assert reference.path_cost(song, as_path(problem, optimum), costs) == optimum.cost


@settings(max_examples=50, deadline=None)
@given(songs(most_steps=8, most_tones=5), st.sampled_from(COSTS), st.sampled_from((1, 40, 40_000)))
def test_the_terms_of_a_path_add_up_to_its_cost_in_batches_of_any_size(
    song: reference.Song, overrides: Mapping[str, float], cells: int
) -> None:
    costs = costs_from(overrides)
    problem = problem_of(song)
    rates = rates_for(song, problem, costs)
    optimum = solve(price(rates))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("arranger.reduce.choose.price._MOST_CELLS", cells)
        assert solve(price(rates)).cost == optimum.cost
        path = as_states(problem, optimum)
        terms = breakdown(rates, path)
    assert terms.keys() <= {*TERMS, "bytes"}
    assert terms.total() == optimum.cost
    held = as_path(problem, optimum)
    for t in range(1, len(path)):
        # A later segment by itself costs what holding does, without the move into it.
        first = int(problem.starts[t])
        steps = range(first, first + int(problem.lengths[t]))
        alone = breakdown(rates, path[t : t + 1], t).total()
        assert alone == sum(reference.node_cost(song, s, held[s], costs) for s in steps)


@settings(max_examples=50, deadline=None)
@given(songs(most_steps=8, most_tones=5), st.sampled_from((0, 300_000, UNITS)))
def test_changes_may_get_dearer_after_all_is_priced(song: reference.Song, change: int) -> None:
    problem = problem_of(song)
    cheap = rates_for(song._replace(change=0), problem, Costs())
    dear = rates_for(song._replace(change=change), problem, Costs())
    optimum = solve(prices(cheap).at(dear))
    assert optimum.cost == reference.least_step_by_step(song._replace(change=change), Costs())
    assert breakdown(dear, as_states(problem, optimum)).total() == optimum.cost


@settings(max_examples=50, deadline=None)
@given(songs(most_steps=8, most_tones=5), st.sampled_from(COSTS))
def test_changing_between_events_never_pays(
    song: reference.Song, overrides: Mapping[str, float]
) -> None:
    costs = costs_from(overrides)
    problem = problem_of(song)
    optimum = solve(price(rates_for(song, problem, costs)))
    assert optimum.cost == reference.least_step_by_step(song, costs)
    assert reference.path_cost(song, as_path(problem, optimum), costs) == optimum.cost


def test_the_worthiest_tones_stay_when_there_are_too_many() -> None:
    tones = [
        reference.PlainTone(40 + i, 0, 2, 0, float(i == 7), float(i == 0), 0.2 + i / 100, 2)
        for i in range(20)
    ]
    problem = problem_of(reference.Song(tones, 2, 2.0), most=4)
    assert problem.overfull == 1
    assert sorted(problem.candidates[0, 1:].tolist()) == [0, 7, 18, 19]
    optimum = solve(price(rates_of(problem, Costs(), 0.1)))
    assert [s.voice1 for s in as_path(problem, optimum)] == [7, 7]
    assert [s.voice2 for s in as_path(problem, optimum)] == [0, 0]


def test_so_many_tones_are_weighed_as_memory_allows(monkeypatch: pytest.MonkeyPatch) -> None:
    """At most 12 in a segment, fewer in a song of so many segments that 8 million cells don't do."""

    def weighed(steps: int) -> tuple[int, int, int]:
        tones = [reference.PlainTone(40 + i, 0, 1, 0, 0.0, 0.0, 0.2, 1) for i in range(14)]
        tones = problem_of(reference.Song(tones, 1, 2.0)).tones
        found = lay_out(tones, steps=steps, steps_per_beat=2.0, more_bounds=np.arange(steps))
        return found.most, int(found.counts[0]), found.overfull

    assert weighed(1) == (12, 13, 1)
    assert weighed(80_000) == (9, 10, 1)  # 80,000 times 10 times 10, the rest included
    assert weighed(80_001) == (8, 9, 1)
    monkeypatch.setattr("arranger.reduce.choose.candidates.MOST_CELLS", 8)
    assert weighed(1) == (2, 3, 1)  # two voices have two tones however long a song is


def test_tones_may_span_four_million_segments_together() -> None:
    for spans, longest in (
        ([4_000_000], 4_000_000), ([4_000_001], 4_000_000), ([7, 4_000_000], 3_999_993), ([], 1),
    ):  # fmt: skip
        assert _longest(np.array(spans, dtype=np.int64)) == longest


def test_the_entry_that_the_bound_asks_for_is_accepted() -> None:
    with pytest.raises(UsageError) as refused:
        costs_from({"leap": 0.0123456})
    asked = re.search(r"entry=([0-9.]+)", refused.value.remedy or "")
    assert asked is not None
    costs = costs_from({"leap": 0.0123456, "entry": float(asked[1])})
    rates = rates_of(problem_of(NOTHING), costs, 0.1)
    assert rates.entry >= 12 * rates.leap + 10 * rates.split[0] + rates.line


@pytest.mark.parametrize(
    ("overrides", "refused", "accepted"),
    [
        ({"split": 0.0061, "entry": 0.2}, "'late'", {"late": 0.061}),
        ({"split": 0.02, "late": 0.2}, "'entry'", {"entry": 0.298}),
        ({"tied": 0.71}, "'tied' and 'wrong-voice'", {"wrong-voice": 0.29}),
    ],
)
def test_costs_by_which_a_change_between_events_could_pay_are_refused(
    overrides: Mapping[str, float], refused: str, accepted: Mapping[str, float]
) -> None:
    with pytest.raises(UsageError, match=refused):
        costs_from(overrides)
    assert costs_from({**overrides, **accepted})


@pytest.mark.parametrize("term", ["delay", "octave", "ring"])
def test_shares_are_at_most_all(term: str) -> None:
    costs_from({term: 1.0})
    with pytest.raises(UsageError, match="shares, at most 1"):
        costs_from({term: 1.001})


def test_a_beat_of_the_tune_costs_1_half_of_it_for_its_start() -> None:
    """All else is a share of that, so that costs can be read."""
    tone = reference.PlainTone(60, 0, 2, 0, 1.0, 0.0, 0.0, 2)
    rates = rates_of(problem_of(reference.Song([tone], 2, 2.0)), Costs(), 0.25)
    assert rates.start.tune[0] == 2 * rates.step.tune[0] == UNITS // 2


def test_rounding_does_not_make_a_detour_by_way_of_a_rest_cheaper() -> None:
    costs = costs_from({"split": 0.003, "late": 0.03, "entry": 0.128})
    dearest = 12 * round(costs.leap * UNITS) + 10 * round(costs.split * UNITS)
    assert costs.entry * UNITS < dearest + round(costs.line * UNITS)
    rates = rates_of(problem_of(NOTHING), costs, 0.1)
    assert rates.entry == dearest + rates.line
    assert rates.late == 10 * rates.split[0]


def test_costs_that_could_leave_64_bits_are_refused() -> None:
    tone = reference.PlainTone(60, 0, 100_000, 0, 1.0, 1.0, 1000.0, 100_000)
    problem = problem_of(reference.Song([tone], 100_000, 1.0))
    costs = costs_from({"sustain": 1000, "tune": 1000, "bass": 1000})
    with pytest.raises(SettingsError, match="too large for so long a song"):
        rates_of(problem, costs, 0.1)
    dear = costs_from({"sustain": 1, "tune": 1000, "bass": 1000})
    assert 0 < solve(price(rates_of(problem, dear, 0.1))).cost < FAR
