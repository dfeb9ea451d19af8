"""Weights of notes: shapes, ranges, and what the ear would say of small songs."""

import numpy as np
import pytest

from arranger.reduce.worth import weigh as salience
from arranger.reduce.worth.note_table import note_table, within_parts
from arranger.reduce.worth.weigh import likelihood, weigh
from arranger.settings import ReduceSettings
from tests.reduce.little_songs import Line, song_of
from tests.reduce.test_roles import BASS, CHORDS, DRUMS, TUNE


def weighed(song, **settings):
    return weigh(song, ReduceSettings(**settings))


def test_the_tune_part_is_the_tune_and_drums_are_neither():
    song = song_of(Line(CHORDS), Line(TUNE), Line(BASS), Line(DRUMS, drum=True))
    weights = weighed(song)
    part = np.array([note.part for note in song.notes])
    assert weights.tune[part == 1].min() > 0.8
    assert weights.bass[part == 2].min() > 0.8
    assert weights.tune[part != 1].max() < 0.5
    assert not weights.tune[part == 3].any()
    assert not weights.bass[part == 3].any()
    assert (weights.salience > 0).all()


def test_a_muted_part_is_worth_nothing():
    song = song_of(Line(TUNE, "a"), Line(CHORDS, "b"), Line(BASS, "c"))
    weights = weighed(song, mute=("a",))
    muted = np.array([note.part == 0 for note in song.notes])
    assert not weights.tune[muted].any()
    assert not weights.bass[muted].any()
    assert (weights.duplicate_of[~muted] == -1).all()


def test_doubles_point_to_the_note_that_stays():
    octave_up = [(t, d, p + 12) for t, d, p in TUNE]
    song = song_of(Line(TUNE, "Melody"), Line(TUNE, "Strings"), Line(octave_up, "Pad"), Line(BASS))
    weights = weighed(song)
    part = np.array([note.part for note in song.notes])
    assert (weights.duplicate_of[part == 1] == np.flatnonzero(part == 0)).all()
    assert (weights.duplicate_of[part != 1] == -1).all()
    assert (weights.octave_of[part == 2] == np.flatnonzero(part == 0)).all()
    assert (weights.octave_of[part == 0] == -1).all()


def test_one_note_and_no_length():
    weights = weighed(song_of(Line([(0, 0, 60)])))
    assert weights.tune.shape == (1,)
    assert np.isfinite(weights.salience).all()


def test_a_tune_whose_notes_a_pedal_holds_is_still_a_line():
    held = [(onset, 6, pitch) for onset, _, pitch in TUNE]
    song = song_of(Line(held, "Melody"), Line(BASS, "Bass"))
    weights = weighed(song)
    tune = np.array([note.part == 0 for note in song.notes])
    assert weights.tune[tune].min() > 0.8


def test_long_songs_are_looked_at_in_pieces(monkeypatch):
    table = note_table(song_of(Line(TUNE), Line(CHORDS), Line(BASS)))
    whole = likelihood(table)
    monkeypatch.setattr(salience, "MOST_NOTES", 50)
    pieces = likelihood(table)
    assert (pieces > 0).all()
    tune, chords = table.part == 0, table.part == 1
    for likely in (whole, pieces):
        assert np.median(likely[tune]) > np.median(likely[chords])


def test_weights_by_other_settings_share_what_is_alike(monkeypatch):
    song = song_of(Line(CHORDS), Line(TUNE), Line(BASS), Line(DRUMS, drum=True))
    first = weighed(song)
    other = ReduceSettings(tune="1", texture="two-highest")
    apart = weigh(song, other)
    muted = weighed(song, mute=("3",))
    monkeypatch.setattr(salience, "likelihood", lambda _table: 1 / 0)
    assert weigh(song, ReduceSettings(transpose=2), first) is first
    together = weigh(song, other, first)
    assert together.roles == apart.roles != first.roles
    assert together.tune.tolist() == apart.tune.tolist() != first.tune.tolist()
    monkeypatch.undo()
    again = weigh(song, ReduceSettings(mute=("3",)), first)
    assert again.tune.tolist() == muted.tune.tolist() != first.tune.tolist()


def test_a_part_alone_lasts_as_long_within_itself() -> None:
    """Two half seconds, and nothing after the end."""
    table = note_table(song_of(Line([(0, 1, 60), (1, 1, 62)], "melody")))
    assert within_parts(table).moment_seconds.tolist() == pytest.approx([0.5, 0.5, 0.0])
