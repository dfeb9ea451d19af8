from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.engine import Engine, load_engine, parse_engine
from arranger.engine.tuning import advice, best_transposition, folded, out_of_tune, transposition


@pytest.fixture(scope="module")
def coarse() -> Engine:
    return load_engine("twin-counter")


def test_only_pitches_beyond_the_limit_are_named(coarse: Engine) -> None:
    worst = max(coarse.pitches.values(), key=lambda pitch: abs(pitch.cents))
    best = min(coarse.pitches.values(), key=lambda pitch: abs(pitch.cents))
    found, seen = out_of_tune(coarse, {worst.midi: 2.0, best.midi: 5.0})
    assert seen == 2
    assert [(entry.midi, entry.cents, entry.weight) for entry in found] == [
        (worst.midi, worst.cents, 2.0)
    ]


def test_a_pitch_outside_is_judged_where_it_lands(coarse: Engine) -> None:
    assert folded(coarse, coarse.highest + 12) == coarse.highest
    assert folded(coarse, coarse.lowest - 24) == coarse.lowest
    assert transposition(coarse, {coarse.highest + 12: 1.0, coarse.lowest: 3.0}, 0).folded == 0.25


def test_the_best_transposition_brings_a_low_tune_into_the_table(coarse: Engine) -> None:
    low = coarse.lowest
    weights = {low - 3: 1.0, low + 2: 1.0, low + 4: 1.0}
    assert transposition(coarse, weights, 0).folded == pytest.approx(1 / 3)
    assert best_transposition(coarse, weights).folded == 0.0


def test_silence_stays_where_it_is(coarse: Engine) -> None:
    assert best_transposition(coarse, {}).semitones == 0


@given(st.dictionaries(st.integers(0, 127), st.floats(0.1, 100), min_size=1, max_size=12))
def test_no_candidate_beats_the_best(weights: dict[int, float]) -> None:
    engine = load_engine("twin-counter")
    best = best_transposition(engine, weights)
    costs = [transposition(engine, weights, semitones).cost for semitones in range(-12, 13)]
    assert best.cost == pytest.approx(min(costs))


ROUGH = parse_engine("""\
format = "arranger-engine"
version = 1
name = "rough"
title = "Four tones, one of them bad"
method = "frequencies"
clock_hz = 1_000_000
loop.cycles = 10
steps = { first = 1, last = 2, passes_per_count = 1000 }
memory = { code_bytes = 1, total_bytes = 2 }

[pitch.table]
C4 = 261.63
D4 = 299.0
E4 = 329.63
"F#4" = 369.99
""")


def test_advice_names_the_pitch_and_the_cure() -> None:
    # D4 is 293.66 Hz: 299 is 31 cents sharp. Two semitones up, C4 would be the bad one;
    # four up, C4 and D4 become E4 and F#4, both in tune.
    assert advice(ROUGH, {62: 3.0, 60: 1.0}) == (
        "Off by more than 10 cents, 75% of the sounding time: D4 (+31). "
        "Most would be cured by --transpose 4, which would leave 0%."
    )


def test_advice_counts_from_the_song_as_written() -> None:
    assert "--transpose -1," in advice(ROUGH, {62: 3.0, 60: 1.0}, already=-5)


def test_advice_is_silent_on_cures_that_are_none() -> None:
    assert advice(ROUGH, {60: 1.0}) == "No pitch is off by more than 10 cents."
    everything = {60: 1.0, 62: 1.0, 64: 1.0, 66: 1.0}
    assert advice(ROUGH, everything).endswith(
        "25% of the sounding time: D4 (+31). No transposition would cure more."
    )
