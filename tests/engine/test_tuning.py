from __future__ import annotations

import pytest

from arranger.engine import Engine, load_engine, parse_engine
from arranger.engine.tuning import advice, folded, out_of_tune, transposition


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


def test_advice_names_the_pitches_and_how_the_best_key_fares() -> None:
    # D4 is 293.66 Hz: 299 is 31 cents sharp. Four up, C4 and D4 become E4 and F#4, both in tune.
    told = "Off by more than 10 cents, 75% of the sounding time: D4 (+31)."
    assert advice(ROUGH, {62: 3.0, 60: 1.0}) == told
    assert advice(ROUGH, {62: 3.0, 60: 1.0}, best=4) == (
        f"{told} --transpose auto would choose +4, which would leave 0%."
    )
    # two up C4 becomes the bad one, and D4 becomes E4
    assert advice(ROUGH, {62: 3.0, 60: 1.0}, best=2).endswith("+2, which would leave 25%.")


def test_advice_counts_from_the_song_as_written() -> None:
    assert "choose -1," in advice(ROUGH, {62: 3.0, 60: 1.0}, already=-5, best=-1)
    assert advice(ROUGH, {62: 3.0}, already=-5, best=-5).endswith("auto finds no better key.")


def test_advice_is_silent_where_all_is_in_tune() -> None:
    assert advice(ROUGH, {60: 1.0}, best=2) == "No pitch is off by more than 10 cents."
