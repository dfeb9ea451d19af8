"""The key that suits an engine, where it can be worked out by hand."""

from dataclasses import replace

import pytest

from arranger.engine import builtin_engines, load_engine
from arranger.engine.model import Pitch
from arranger.reduce.place.transpose import choose_transposition
from arranger.reduce.worth.weigh import weigh
from arranger.settings import ReduceSettings
from tests.reduce.little_songs import Line, grid_of, song_of


def chosen(pitches, entries, transpose="auto"):
    engine = replace(load_engine("twin-phase"), pitches=entries)
    song = song_of(Line([(i, 1, p) for i, p in enumerate(pitches)]))
    settings = ReduceSettings(transpose=transpose)
    weights = weigh(song, settings)
    return choose_transposition(song, engine, grid_of(song), weights, settings)


def table(cents):
    return {pitch: Pitch(pitch, pitch, 1.0, value) for pitch, value in cents.items()}


def test_a_song_that_is_in_tune_stays():
    assert chosen([60, 64, 67], table(dict.fromkeys(range(40, 90), 0.0))) == 0


def test_a_number_is_taken_as_it_is():
    assert chosen([60], table({60: 0.0}), transpose=-5) == -5


def test_the_key_that_the_table_has_in_tune_is_found():
    # every pitch is 40 cents off but those two semitones above the song's
    cents = {p: (0.0 if p % 12 in {2, 6, 9} else 40.0) for p in range(40, 90)}
    assert chosen([60, 64, 67], table(cents)) == 2


def test_folds_are_avoided_where_the_table_ends():
    assert chosen([58, 59, 62, 70], table(dict.fromkeys(range(60, 90), 0.0))) == 2


def test_the_table_is_weighed_by_how_long_a_pitch_sounds():
    # 62 alone is in tune: it is better for the 60 of 8 beats than, nearer, for the 61 of one beat
    cents = dict.fromkeys(range(40, 90), 40.0) | {62: 0.0}
    engine = replace(load_engine("twin-phase"), pitches=table(cents))
    song = song_of(Line([(0, 8, 60), (8, 1, 61)]))
    settings = ReduceSettings(transpose="auto")
    weights = weigh(song, settings)
    assert choose_transposition(song, engine, grid_of(song), weights, settings) == 2


@pytest.mark.parametrize("name", builtin_engines())
def test_built_in_engines_take_any_song(name):
    engine = load_engine(name)
    song = song_of(Line([(i, 1, p) for i, p in enumerate(range(0, 128, 7))]))
    settings = ReduceSettings(transpose="auto")
    weights = weigh(song, settings)
    assert -12 <= choose_transposition(song, engine, grid_of(song), weights, settings) <= 12
