"""Whose turn it is where chords are broken."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import groupby
from random import Random

import numpy as np
import pytest

from arranger.engine.model import StepLength
from arranger.grid.model import Grid, grid_bars
from arranger.reduce.choose.candidates import ChoiceProblem, Tones, lay_out
from arranger.reduce.choose.costs import Costs
from arranger.reduce.choose.rates import UNITS
from arranger.reduce.choose.turns import asked_for, out_of_turn, turns
from tests.reduce.little_songs import Line, grid_of, song_of, tones_of

EMPTY = grid_of(song_of(Line([(0, 1, 60)])))
LINES = np.zeros(3, dtype=np.bool_)


def gridded(*heads: tuple[int, int, int], step: str = "1/4", seconds: float = 0.125) -> Grid:
    """Return a grid with bars of so many steps, numerator and denominator."""
    bars = grid_bars((number, *head) for number, head in enumerate(heads, 1))
    return replace(
        EMPTY,
        step_beats=Fraction(step),
        bars=bars,
        steps=bars[-1].first_step + bars[-1].steps,
        step_length=StepLength(1, 1, seconds),
    )


def problem_of(tones: Tones, grid: Grid) -> ChoiceProblem:
    every = np.ones(grid.steps, dtype=np.bool_)
    beat = float(1 / grid.step_beats)
    return lay_out(tones, steps=grid.steps, steps_per_beat=beat, more_bounds=turns(grid, every)[0])


def asked(tones: Tones, grid: Grid, lines: np.ndarray = LINES) -> tuple[list[int], list[int]]:  # type: ignore[type-arg]
    """Return what each voice is asked for on each step."""
    problem = problem_of(tones, grid)
    found = asked_for(problem, grid, np.ones(grid.steps, dtype=np.bool_), lines)
    one, two = (np.repeat(row, problem.lengths).tolist() for row in found)
    return one, two


@pytest.mark.parametrize(
    ("step", "seconds", "head", "every", "beats"),
    [
        ("1/4", 0.125, (16, 4, 4), 1, 4),
        ("1/4", 0.08, (16, 4, 4), 2, 4),
        ("1/8", 0.06, (16, 2, 4), 2, 8),
        ("1/8", 0.04, (16, 2, 4), 4, 8),
        ("1/12", 0.05, (24, 2, 4), 3, 12),
        ("1/4", 0.3, (16, 4, 4), 1, 4),
        ("1/3", 0.07, (12, 4, 4), 1, 3),
        ("1/4", 0.08, (12, 6, 8), 2, 6),
        ("1/2", 0.1, (9, 9, 8), 1, 3),
        ("1/4", 0.1, (14, 7, 8), 1, 2),
        ("1/4", 0.125, (16, 2, 2), 1, 8),
        ("1", 0.4, (3, 6, 8), 1, 1.5),
    ],
)
def test_turns_last_a_sixth_of_a_second_at_most_and_fit_the_beat(
    step: str, seconds: float, head: tuple[int, int, int], every: int, beats: float
) -> None:
    grid = gridded(head, head, step=step, seconds=seconds)
    broken = np.ones(grid.steps, dtype=np.bool_)
    broken[: head[0]] = False
    starts, are_beats = turns(grid, broken)
    assert starts.tolist() == list(range(head[0], 2 * head[0], every))
    there = [int(start) for start, beat in zip(starts, are_beats, strict=True) if beat]
    places = [-(-beats * n // 1) for n in range(head[0]) if beats * n < head[0]]
    assert there == [head[0] + place for place in places]


CHORD = [(0, 16, 48, 0.0), (0, 16, 64, 0.0), (0, 16, 67, 0.0)]
TUNE = (0, 16, 86, 1.0)


def test_the_bass_has_the_beats_and_the_unheard_the_turns_between() -> None:
    """C3, E4 and G4 under D6, four turns a beat; the bass doesn't run into its own beat."""
    one, two = asked(tones_of(*CHORD, TUNE), gridded((16, 4, 4)))
    assert two == [48, 67, 64, 67, *[48, 64, 48, 67] * 3]
    assert one == [-1] * 16


def test_what_the_tune_has_is_heard_already() -> None:
    _, two = asked(tones_of(*CHORD, (0, 16, 79, 1.0)), gridded((16, 4, 4)))
    assert two[:4] == [48, 64, 48, 64]
    assert set(two) == {48, 64}
    doubled = tones_of(*CHORD, (0, 16, 76, 0.0), (0, 16, 76, 1.0))
    assert 76 not in asked(doubled, gridded((16, 4, 4)))[1], "voice 1 has that pitch"


def test_a_struck_bass_has_its_turn_where_it_comes_and_begins_a_harmony() -> None:
    rows = [(0, 6, 48, 0.0), (6, 16, 45, 0.0), (0, 16, 60, 0.0), (0, 16, 64, 0.0), TUNE]
    _, two = asked(tones_of(*rows), gridded((16, 4, 4)))
    assert two[:6] == [48, 64, 60, 60, 48, 64]
    assert two[6] == 45
    assert two[7:12] == [64, 45, 60, 45, 64], "A minor: its fifth, then its third"


def test_a_bass_that_is_only_struck_again_leaves_the_turns_between_beats() -> None:
    """Semiquavers on one pitch under a held chord, and a bass that walks on every semiquaver."""
    driving = [(step, step + 1, 48, 0.0) for step in range(16)]
    _, two = asked(tones_of(*CHORD[1:], *driving, TUNE), gridded((16, 4, 4)))
    assert two[::4] == [48] * 4
    assert {64, 67} < set(two)
    walking = [(step, step + 1, 45 + step % 3, 0.0) for step in range(16)]
    _, two = asked(tones_of(*CHORD[1:], *walking, TUNE), gridded((16, 4, 4)))
    assert two == [45 + step % 3 for step in range(16)]


def test_where_a_turn_takes_a_whole_beat_the_bass_has_every_second_or_the_bar() -> None:
    rows = [(0, 14, pitch, 0.0) for pitch in (48, 64, 67)]
    _, two = asked(
        tones_of(*rows, (0, 14, 86, 1.0)), gridded((4, 4, 4), (3, 3, 4), (7, 7, 8), step="1")
    )
    assert [pitch == 48 for pitch in two[:4]] == [True, False, True, False]
    assert two[4] == 48
    assert 48 not in two[5:7]
    assert two[7] == 48


def test_what_is_foreign_to_the_triad_comes_when_the_rest_was_heard() -> None:
    """C, E, G and B flat: after them the seventh has its turn, and then waits for ten more."""
    _, two = asked(tones_of(*CHORD, (0, 16, 70, 0.0), TUNE), gridded((16, 4, 4)))
    assert two[:8] == [48, 67, 64, 70, 48, 67, 64, 67]
    assert two.count(70) == 1


def test_memory_ends_with_the_bar() -> None:
    rows = [
        (onset, onset + 16, pitch, tune)
        for onset in (0, 16)
        for _, _, pitch, tune in (*CHORD, TUNE)
    ]
    _, two = asked(tones_of(*rows), gridded((16, 4, 4), (16, 4, 4)))
    assert two[16:] == two[:16]


def test_of_a_class_the_pitch_nearest_to_the_last_turn_comes() -> None:
    rows = [(0, 16, pitch, 0.0) for pitch in (36, 55, 79, 76)]
    _, two = asked(tones_of(*rows, TUNE), gridded((16, 4, 4)))
    assert two[:3] == [36, 55, 76], "at first the lower fifth"
    assert two[3] == 79, "nearer to the third"


def test_voice_1_takes_turns_where_the_tune_rests_for_a_beat() -> None:
    chord = [(0, 16, pitch, 0.0) for pitch in (48, 64, 67, 72)]
    rest = tones_of(*chord, (0, 4, 86, 1.0), (8, 16, 86, 1.0))
    one, two = asked(rest, gridded((16, 4, 4)))
    assert [pitch >= 0 for pitch in one] == [False] * 4 + [True] * 4 + [False] * 8
    assert all(a != b for a, b in zip(one, two, strict=True))
    assert len({*one[4:8], *two[4:8]}) == 4, "together they have the whole chord"
    assert len({*one[4:8]}) > 1
    breath = tones_of(*chord, (0, 5, 86, 1.0), (8, 16, 86, 1.0))
    assert asked(breath, gridded((16, 4, 4)))[0] == [-1] * 16
    line = np.array([True])
    assert asked(rest, gridded((16, 4, 4)), line)[0] == [-1] * 16, "a line may answer"


def test_voice_1_stays_within_an_octave_of_the_tune_where_it_can() -> None:
    chord = [(0, 16, pitch, 0.0) for pitch in (36, 40, 76, 79)]
    one, _ = asked(tones_of(*chord, (0, 4, 84, 1.0)), gridded((16, 4, 4)))
    assert set(one[4:]) <= {76, 79}


def test_what_only_a_pedal_holds_is_asked_for_half_a_second() -> None:
    held = [(0, 16, pitch, 0.0) for pitch in (48, 64, 67)]
    struck = replace(tones_of(*held, (0, 16, 52, 0.0)), released=np.array([4, 16, 4, 4]))
    one, two = asked(struck, gridded((16, 4, 4)))
    assert {*one[:8], *two[:8]} == {48, 52, 64, 67}
    assert set(two[8:]) == {52}, "0.5 s after the keys came up"
    assert set(one[8:]) == {-1}
    one, two = asked(tones_of(*held, released=4), gridded((16, 4, 4)))
    assert {*one[8:], *two[8:]} == {48, 64, 67}, "nothing else sounds"


def test_who_is_asked_for_sounds_there() -> None:
    random = Random(15)
    some = 0
    for _ in range(60):
        rows = {}
        for _ in range(random.randrange(1, 12)):
            onset = random.randrange(30)
            pitch, tune = random.randrange(36, 84), random.choice((0.0, 0.0, 1.0))
            rows[onset, pitch] = (onset, onset + random.randrange(1, 12), pitch, tune)
        grid = gridded((16, 4, 4), (12, 3, 4), (14, 7, 8))
        tones = tones_of(*rows.values())
        one, two = asked(tones, grid)
        for step in range(grid.steps):
            sounding = (tones.onset <= step) & (tones.end > step)
            tune = set(tones.pitch[sounding & (tones.tune >= 0.5)].tolist())
            rest = set(tones.pitch[sounding & (tones.tune < 0.5)].tolist())
            asked_here = [pitch for pitch in (one[step], two[step]) if pitch >= 0]
            assert set(asked_here) <= rest
            assert len(set(asked_here)) == len(asked_here)
            assert not tune & set(asked_here) or len(tune) > 1
            assert not (tune and one[step] >= 0)
            assert (two[step] >= 0) == bool(rest - {max(tune, default=-1)})
            some += len(asked_here)
    assert some > 1000


def test_out_of_turn_costs_by_the_beat() -> None:
    grid = gridded((8, 2, 4), (8, 2, 4))
    tones = tones_of(*CHORD, TUNE)
    problem = problem_of(tones, grid)
    broken = np.arange(16) >= 8
    cost, free = out_of_turn(problem, Costs(), grid, broken, LINES)
    assert free.tolist() == [[False] * 16, [False] * 8 + [True] * 8]
    wanted = [None] * 8 + [48, 67, 64, 67, 48, 64, 48, 67]
    for segment, turn in enumerate(wanted):
        for slot, tone in enumerate(problem.candidates[segment].tolist()):
            pitch = None if tone < 0 else int(problem.tones.pitch[tone])
            out = turn is not None and pitch != turn
            assert cost[1, segment, slot] == (round(1.5 / 4 * UNITS) if out else 0)
    assert not cost[0].any()


def test_the_lowest_pitch_of_all_can_be_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = gridded((2, 2, 4))
    problem = problem_of(tones_of((0, 2, 0, 0.0), (0, 2, 7, 0.0)), grid)
    turns_of = np.array(([0, -1], [7, 0]))
    monkeypatch.setattr("arranger.reduce.choose.turns.asked_for", lambda *_: turns_of)
    cost, free = out_of_turn(problem, Costs(), grid, np.ones(2, dtype=np.bool_), LINES)
    pitch = np.append(problem.tones.pitch, -2)[problem.candidates]
    asked = turns_of[:, :, None]
    assert ((cost > 0) == ((asked != -1) & (pitch != asked))).all()
    assert free.tolist() == [[True, False], [True, True]]


def test_runs_of_one_pitch_last_a_turn_where_the_chord_has_others() -> None:
    _, two = asked(tones_of(*CHORD, TUNE), gridded((16, 4, 4), seconds=0.08))
    assert {len(list(group)) for _, group in groupby(two)} == {2}
