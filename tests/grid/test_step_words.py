"""What is told of a step: its losses, another worth knowing, bars that go by another division."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from arranger.engine import load_engine
from arranger.grid import StepChoice, plan_grid
from arranger.grid.steps.off_step import bars_off_step
from arranger.grid.steps.step_words import step_sentence
from arranger.settings import GridSettings
from tests.grid.songs import song_of

ENGINE = load_engine("twin-phase")


def choice(parts: int, merged: int, misplaced: int = 0) -> StepChoice:
    return StepChoice(Fraction(1, parts), 0.0, 16 * parts, 0, merged, 0, misplaced)


def test_the_coarsest_finer_step_that_halves_the_losses_is_named() -> None:
    table = [choice(4, 10, 2), choice(12, 0), choice(8, 0), choice(6, 7), choice(2, 40)]
    assert step_sentence(table) == (
        "step 1/4: 10 notes merge, 2 off their places; --step 1/8: none, twice as many steps"
    )
    table[3] = choice(6, 0, 1)
    assert step_sentence(table).endswith(
        "; --step 1/6: 1 note off its place, half as many steps more"
    )
    assert step_sentence([choice(4, 1), choice(6, 1), choice(2, 0)]) == "step 1/4: 1 note merges"


@pytest.mark.parametrize(
    ("finer", "rows"),
    [
        (Fraction(1, 8), "twice as many steps"),
        (Fraction(1, 12), "three times as many steps"),
        (Fraction(1, 16), "four times as many steps"),
        (Fraction(1, 6), "half as many steps more"),
        (Fraction(3, 16), "a third more steps"),
        (Fraction(1, 5), "1.25 times as many steps"),
    ],
)
def test_how_many_more_steps_a_finer_one_makes(finer: Fraction, rows: str) -> None:
    for lost, told in ((5, f"; --step {finer}: 5 notes merge, {rows}"), (6, "")):
        other = StepChoice(finer, 0.0, 9, 0, lost, 0)
        assert step_sentence([choice(4, 10), other]) == f"step 1/4: 10 notes merge{told}"


def test_of_coarser_steps_the_one_that_loses_least_and_then_the_coarsest_is_told() -> None:
    table = [choice(4, 0), choice(1, 9, 0), choice(2, 5, 4), choice(3, 10)]
    assert step_sentence(table) == "step 1/4 holds every note (--step 1: 9 notes merge)"
    table[1] = choice(1, 0)
    assert step_sentence(table).endswith("(--step 1/2: 5 notes merge, 4 off their places)")


def test_where_nothing_is_lost_the_coarser_step_says_why() -> None:
    table = [choice(4, 0), choice(8, 0), choice(2, 9, 4), choice(1, 99), choice(3, 30)]
    assert (
        step_sentence(table)
        == "step 1/4 holds every note (--step 1/2: 9 notes merge, 4 off their places)"
    )
    assert step_sentence(table[:2]) == "step 1/4 holds every note"
    assert step_sentence([]) == ""


def test_bars_of_triplets_swing_and_finer_notes_are_told() -> None:
    def bar(number: int, *places: float) -> list[tuple[float, float, int]]:
        return [(4 * number + at, 0.2, 60 + round(at * 6)) for at in places]

    straight = [n / 4 for n in range(16)]
    rows = [row for n in range(40) if n not in {9, 10, 20, 30} for row in bar(n, *straight)]
    rows += bar(9, 0, 1 / 3, 2 / 3, 1, 2, 3) + bar(10, 0, 1, 2, 7 / 3, 8 / 3, 3)
    rows += bar(20, 0, 2 / 3, 1, 5 / 3, 2, 3) + bar(30, 0, 1, 2, 2.125, 2.25, 2.375, 2.5, 3)
    grid = plan_grid(song_of(rows, bpm=80.0), ENGINE)
    assert grid.step_beats == Fraction(1, 4)
    assert [remark for remark in grid.remarks if "off their places" in remark] == [
        "bars 10-11: triplets; 4 attacks are heard off their places there (--step 1/12 holds all)",
        "bar 21: swung off-beats; 2 attacks are heard off their places there (--step 1/12 holds all)",
    ]
    finer = plan_grid(song_of(rows, bpm=80.0), ENGINE, GridSettings(step=Fraction(1, 12)))
    assert any("bar 31: notes of 1/8; 2 attacks" in remark for remark in finer.remarks)


def test_the_last_bar_is_told_too() -> None:
    rows = [(n / 4, 0.2, 60 + n % 7) for n in range(316)]
    rows += [(79 + n / 3, 0.3, 70 + n) for n in range(3)]
    told = [
        each for each in plan_grid(song_of(rows, bpm=80.0), ENGINE).remarks if "off their" in each
    ]
    assert told == [
        "bar 20: triplets; 2 attacks are heard off their places there (--step 1/12 holds all)"
    ]


def test_a_step_that_misses_the_tempo_is_told_with_one_that_comes_nearer() -> None:
    song = song_of([(n, 1, 60 + n % 7) for n in range(32)], bpm=300.0)
    grid = plan_grid(song, ENGINE, GridSettings(step=Fraction(1, 12), beat="file"))
    off = 100 * (ENGINE.step_lengths[0].seconds * 60 - 1)
    assert grid.step_length == ENGINE.step_lengths[0]
    nearer = grid.alternatives[1].step_beats
    assert nearer != Fraction(1, 12)
    assert (
        f"the engine's nearest step is {off:.1f} % off the tempo of 300 beats a minute; "
        f"--step {nearer} comes nearer"
    ) in grid.remarks
    fast = plan_grid(song_of([(n, 1, 60) for n in range(32)], bpm=9000.0), ENGINE)
    assert any(each.endswith("off the tempo of 9000 beats a minute") for each in fast.remarks)


def test_a_bar_is_told_by_what_would_hold_it() -> None:
    lines = np.arange(0, 13, 4.0)
    beats = np.array([0, 0.5, 1, 4, 4 + 1 / 3, 4 + 2 / 3, 5, 8.01, 8.5])
    (found,) = bars_off_step(beats, lines, Fraction(1, 2), 100.0, played=False)
    assert found == ("triplets", Fraction(1, 3), (1,), 2)
    assert bars_off_step(beats, lines, Fraction(1, 6), 100.0, played=False) == ()


@pytest.mark.parametrize(
    ("played", "bpm", "heard"),
    [(False, 166.0, True), (False, 167.5, False), (True, 90.5, True), (True, 91.3, False)],
)
def test_a_bar_is_told_where_two_attacks_are_heard_off_their_places(
    played: bool, bpm: float, heard: bool
) -> None:
    """Half way from where it is unheard (10 ms, played 30) to where it is plain (50 ms, played 80).

    Thirds of a beat are a twelfth of it off the semiquavers.
    """
    lines = np.arange(0, 33, 4.0)
    third = [16, 17 + 1 / 3, 17 + 2 / 3, 20 - 1e-10, 20.5]
    for at, bars in ((third, (4,)), ([*third, 21 + 1 / 3], (4,)), (third[:2], ())):
        found = bars_off_step(np.array(at), lines, Fraction(1, 4), bpm, played=played)
        assert [each.bars for each in found] == ([bars] if bars and heard else [])
    unheard = (0.03 if played else 0.01) * bpm / 60
    for late, bars in ((0.99 * unheard, (4,)), (1.01 * unheard, ())):
        uneven = np.array([*third[:3], 19 + late])
        found = bars_off_step(uneven, lines, Fraction(1, 4), bpm, played=played)
        assert [each.bars for each in found if each.step_beats == Fraction(1, 3)] == (
            [bars] if bars and heard else []
        )
