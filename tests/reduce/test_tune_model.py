"""The tune model: its laws, and what it finds in small pieces."""

from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.reduce.worth import tune_model
from arranger.reduce.worth.note_table import note_table
from arranger.reduce.worth.tune_model import tune_likelihood, voicing
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


def test_the_weights_are_few_enough_and_all_there():
    resource = files("arranger.reduce.worth").joinpath("tune_model.npy")
    assert len(resource.read_bytes()) < 1_000_000
    found = tune_model._network()
    assert {name: values.shape for name, values in found.items()} == tune_model.SHAPES
    assert all(np.isfinite(values).all() for values in found.values())


@settings(deadline=None, max_examples=40)
@given(NOTES)
def test_likelihoods_are_shares_of_rounded_log_odds(rows):
    likely = tune_likelihood(voiced(rows)).astype(np.float64)
    assert likely.shape == (len(rows),)
    assert ((likely > 0) & (likely < 1)).all()
    odds = np.log(likely / (1 - likely)) * tune_model.ROUNDED
    assert odds == pytest.approx(np.round(odds), abs=0.05)


@settings(deadline=None, max_examples=40)
@given(NOTES, st.integers(-12, 12), st.integers(0, 3))
def test_key_and_start_of_the_song_make_no_difference(rows, semitones, seconds):
    # exact in binary: eighths of a second, whole seconds and semitones
    here, there = voiced(rows), voiced(rows, semitones, seconds)
    assert tune_likelihood(here) == pytest.approx(tune_likelihood(there), abs=0.02)


def test_a_tune_over_broken_chords_in_one_part():
    tune = [(2 * i, 2, p) for i, p in enumerate([72, 74, 76, 77, 79, 77, 76, 74, 72, 71, 72, 76])]
    broken = [(i / 2, 0.5, (48, 55, 52, 55)[i % 4]) for i in range(48)]
    table = note_table(song_of(Line(tune + broken)))
    likely = likelihood(table)
    assert likely[table.pitch >= 70].min() > likely[table.pitch < 60].max()
