"""The tune model: its arithmetic against plain loops, its laws, and what it finds in small pieces."""

import json
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.reduce.worth.table import columns
from arranger.reduce.worth.tune_features import near_features, neighbours, voicing, wide_features
from arranger.reduce.worth.tune_model import read_forest, tune_likelihood
from arranger.reduce.worth.weigh import likelihood
from tests.reduce.little_songs import Line, song_of

NOTES = st.lists(
    st.tuples(st.integers(0, 60), st.integers(1, 40), st.integers(30, 90), st.integers(1, 127)),
    min_size=1,
    max_size=40,
)


def voiced(rows, pitch_shift=0, time_shift=0.0):
    rows = sorted(rows, key=lambda row: (row[0], row[2]))
    onset = np.array([row[0] for row in rows]) / 8 + time_shift
    length = np.array([row[1] for row in rows]) / 8
    pitch = np.array([row[2] for row in rows]) + pitch_shift
    return voicing(onset, onset + length, pitch, np.array([row[3] for row in rows]) / 127)


def test_trees_add_up_as_the_file_says():
    stage = {
        "bias": 0.5,
        "features": ["height", "length"],
        "trees": [
            {"if": ["height", 2.0, "length", 1.0], "then": [1.0, 2.0, 4.0, 8.0]},
            {"if": ["length", 3.0, "length", 5.0], "then": [0.1, 0.2, 0.3, 0.4]},
        ],
    }
    found = {
        "height": np.array([2.0, 2.5, 0.0, 9.0], dtype=np.float32),
        "length": np.array([0.0, 1.0, 1.5, 6.0], dtype=np.float32),
    }
    # bit 0 is the first test, bit 1 the second; "greater" is strict
    expected = [0.5 + 1 + 0.1, 0.5 + 2 + 0.1, 0.5 + 4 + 0.1, 0.5 + 8 + 0.4]
    assert read_forest(stage).log_odds(found) == pytest.approx(expected)


def test_the_file_equals_a_plain_walk_through_its_trees():
    text = files("arranger.reduce.worth").joinpath("tune_model.json").read_text("utf-8")
    stages = json.loads(text)["stages"]
    rng = np.random.default_rng(7)
    for stage in stages:
        found = {name: rng.normal(0, 4, 30).astype(np.float32) for name in stage["features"]}
        ours = read_forest(stage).log_odds(found)
        for note in range(30):
            total = stage["bias"]
            for tree in stage["trees"]:
                leaf = 0
                for bit in range(len(tree["if"]) // 2):
                    name, threshold = tree["if"][2 * bit : 2 * bit + 2]
                    leaf += int(found[name][note] > np.float32(threshold)) << bit
                total += tree["then"][leaf]
            assert ours[note] == pytest.approx(total, abs=1e-3)


def test_the_file_is_small_and_asks_only_for_known_features():
    resource = files("arranger.reduce.worth").joinpath("tune_model.json")
    text = resource.read_text("utf-8")
    notes = voiced([(0, 4, 60, 90), (4, 4, 64, 90)])
    near = near_features(notes, neighbours(notes))
    known = set(near) | set(
        wide_features(notes, neighbours(notes), np.full(2, 0.5, dtype=np.float32))
    )
    first, second = json.loads(text)["stages"]
    assert set(first["features"]) <= set(near)
    assert set(second["features"]) <= known
    assert len(text) < 200_000


@settings(deadline=None, max_examples=40)
@given(NOTES)
def test_likelihoods_are_shares_and_features_finite(rows):
    notes = voiced(rows)
    likely = tune_likelihood(notes)
    assert likely.shape == (len(rows),)
    assert ((likely >= 0) & (likely <= 1)).all()
    beside = neighbours(notes)
    found = near_features(notes, beside) | wide_features(notes, beside, likely)
    for name, values in found.items():
        assert np.isfinite(values).all(), name
        assert values.dtype == np.float32, name


@settings(deadline=None, max_examples=40)
@given(NOTES, st.integers(-12, 12), st.integers(0, 3))
def test_key_and_start_of_the_song_make_no_difference(rows, semitones, seconds):
    # exact in binary: eighths of a second, whole seconds and semitones
    here, there = voiced(rows), voiced(rows, semitones, seconds)
    here, there = (near_features(notes, neighbours(notes)) for notes in (here, there))
    for name, values in here.items():
        assert values == pytest.approx(there[name], abs=2e-3), name


def test_a_tune_over_broken_chords_in_one_part():
    tune = [(2 * i, 2, p) for i, p in enumerate([72, 74, 76, 77, 79, 77, 76, 74, 72, 71, 72, 76])]
    broken = [(i / 2, 0.5, (48, 55, 52, 55)[i % 4]) for i in range(48)]
    table = columns(song_of(Line(tune + broken)))
    likely = likelihood(table)
    assert likely[table.pitch >= 70].min() > likely[table.pitch < 60].max()
