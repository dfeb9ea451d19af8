"""The dynamic programme finds what trying everything finds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from arranger.reduce.choose.breakdown import Breakdown, State
from arranger.reduce.choose.candidates import Problem, Tones, find_repeats, lay_out
from arranger.reduce.choose.costs import TERMS, Costs, costs_from
from arranger.reduce.choose.optimum import Optimum, solve
from arranger.reduce.choose.price import price
from tests.reduce import reference

if TYPE_CHECKING:
    from collections.abc import Mapping

SHARES = st.sampled_from((0.0, 0.3, 1.0))


@st.composite
def tone_rows(draw: st.DrawFn, steps: int) -> reference.PlainTone:
    onset = draw(st.integers(0, steps - 1))
    tune, bass = draw(SHARES), draw(SHARES)
    plain = draw(st.sampled_from((0.15, 0.3, 0.9)))
    return reference.PlainTone(
        pitch=draw(st.sampled_from((48, 60, 62, 72))),
        onset=onset,
        end=draw(st.integers(onset + 1, steps)),
        part=draw(st.integers(0, 1)),
        tune=tune,
        bass=bass,
        worth=plain + tune + 0.7 * bass,
        plain_worth=plain,
    )


@st.composite
def songs(draw: st.DrawFn, *, most_steps: int, most_tones: int) -> reference.Song:
    steps = draw(st.integers(1, most_steps))
    rows = draw(
        st.lists(
            tone_rows(steps), max_size=most_tones, unique_by=lambda t: (t.pitch, t.onset, t.end)
        )
    )
    drums = draw(
        st.dictionaries(st.integers(0, steps - 1), st.sampled_from((0.1, 0.4, 0.8)), max_size=5)
    )
    rows.sort(key=lambda t: (t.onset, t.end, t.pitch))
    return reference.Song(rows, steps, draw(st.sampled_from((1.0, 2.0, 4.0))), drums)


def problem_of(song: reference.Song, most: int = 12) -> Problem:
    names = ("pitch", "onset", "end", "part", "tune", "bass", "worth", "plain_worth")
    columns = [np.array([getattr(t, name) for t in song.tones]) for name in names]
    ints = [column.astype(np.int64) for column in columns[:4]]
    tones = Tones(
        note=np.arange(len(song.tones)),
        pitch=ints[0],
        onset=ints[1],
        end=ints[2],
        part=ints[3],
        tune=columns[4].astype(np.float64),
        bass=columns[5].astype(np.float64),
        worth=columns[6].astype(np.float64),
        plain_worth=columns[7].astype(np.float64),
        repeats=find_repeats(ints[0], ints[1], ints[2]),
    )
    steps = sorted(song.drums)
    return lay_out(
        tones,
        steps=song.steps,
        steps_per_beat=song.steps_per_beat,
        drum_steps=np.array(steps, dtype=np.int64),
        drum_weights=np.array([song.drums[s] for s in steps], dtype=np.float64),
        drum_is_free=False,
        most=most,
    )


def as_path(problem: Problem, optimum: Optimum) -> tuple[reference.State, ...]:
    """Return the optimum spelled out step by step."""
    path = []
    for t, length in enumerate(problem.lengths.tolist()):
        held = problem.candidates[t, [optimum.slots1[t], optimum.slots2[t]]].tolist()
        a, b = (None if tone < 0 else tone for tone in held)
        path.extend([reference.State(a, b, bool(optimum.drum[t]))] * length)
    return tuple(path)


def as_states(problem: Problem, optimum: Optimum) -> list[State]:
    """Return the optimum a segment a state, as the breakdown takes it."""
    every = np.arange(len(problem.starts))
    held = (problem.candidates[every, s].tolist() for s in (optimum.slots1, optimum.slots2))
    return [State(*row) for row in zip(*held, optimum.drum.tolist(), strict=True)]


COSTS: tuple[Mapping[str, float], ...] = (
    {},
    {"leap": 0.0, "entry": 0.02},
    {"crossing": 0.4, "doubling": 0.3, "wrong-voice": 0.5},
    {"entry": 0.3, "line": 0.1, "leap": 0.01, "late": 0.2, "gap": 0.07},
    {"attack": 1.5, "sustain": 0.1, "delay": 0.9, "octave": 0.8, "tied": 1.0, "drum": 2.0},
)


@settings(max_examples=120, deadline=None)
@given(songs(most_steps=4, most_tones=3), st.sampled_from(COSTS))
def test_the_optimum_is_the_best_of_all_paths(
    song: reference.Song, overrides: Mapping[str, float]
) -> None:
    ways = np.prod([float(len(reference.states(song, s))) for s in range(song.steps)])
    assume(ways <= 4000)
    costs = costs_from(overrides)
    problem = problem_of(song)
    optimum = solve(price(problem, costs))
    assert optimum.cost == pytest.approx(reference.least_by_trying_all(song, costs), abs=1e-9)
    assert reference.path_cost(song, as_path(problem, optimum), costs) == pytest.approx(
        optimum.cost, abs=1e-9
    )


@settings(max_examples=100, deadline=None)
@given(songs(most_steps=8, most_tones=5), st.sampled_from(COSTS))
def test_the_terms_of_a_path_add_up_to_its_cost(
    song: reference.Song, overrides: Mapping[str, float]
) -> None:
    costs = costs_from(overrides)
    problem = problem_of(song)
    optimum = solve(price(problem, costs))
    terms = Breakdown(problem, costs).of_path(as_states(problem, optimum))
    assert terms.keys() <= TERMS.keys()
    assert sum(terms.values()) == pytest.approx(optimum.cost, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(songs(most_steps=8, most_tones=5), st.sampled_from(COSTS))
def test_changing_between_events_never_pays(
    song: reference.Song, overrides: Mapping[str, float]
) -> None:
    costs = costs_from(overrides)
    problem = problem_of(song)
    optimum = solve(price(problem, costs))
    assert optimum.cost == pytest.approx(reference.least_step_by_step(song, costs), abs=1e-9)
    assert reference.path_cost(song, as_path(problem, optimum), costs) == pytest.approx(
        optimum.cost, abs=1e-9
    )


def test_the_worthiest_tones_stay_when_there_are_too_many() -> None:
    tones = [
        reference.PlainTone(40 + i, 0, 2, 0, float(i == 7), float(i == 0), 0.2 + i / 100, 0.2)
        for i in range(20)
    ]
    tones[7] = tones[7]._replace(worth=1.3)
    tones[0] = tones[0]._replace(worth=0.9)
    problem = problem_of(reference.Song(tones, 2, 2.0, {}), most=4)
    assert problem.overfull == 1
    assert sorted(problem.candidates[0, 1:].tolist()) == [0, 7, 18, 19]
    optimum = solve(price(problem, Costs()))
    assert [s.voice1 for s in as_path(problem, optimum)] == [7, 7]
    assert [s.voice2 for s in as_path(problem, optimum)] == [0, 0]
