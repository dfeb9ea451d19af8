"""Parts that copy others: doubling, octave, echo; and what only looks like a copy."""

import numpy as np

from arranger.reduce.worth.copies import find_copies
from arranger.reduce.worth.duplicates import doubles
from arranger.reduce.worth.table import columns
from tests.reduce.little_songs import Line, song_of
from tests.reduce.test_roles import BASS, TUNE


def moved(line, beats=0.0, semitones=0):
    return [(onset + beats, length, pitch + semitones) for onset, length, pitch in line]


def copies_of(*lines):
    song = song_of(*(Line(line) for line in lines))
    return columns(song), find_copies(columns(song), len(lines))


def test_an_echo_is_known_by_its_delay():
    # half a beat at 120 beats a minute is a quarter of a second
    table, (copy,) = copies_of(TUNE, BASS, moved(TUNE, 0.5))
    assert (copy.part, copy.of, copy.octaves, copy.is_echo) == (2, 0, 0, True)
    assert abs(copy.delay - 0.25) < 1e-6
    assert (table.pitch[copy.notes] == table.pitch[copy.originals]).all()
    assert np.allclose(table.onset[copy.notes] - table.onset[copy.originals], 0.25)


def test_an_echo_that_comes_first_in_the_file_is_still_the_echo():
    _, (copy,) = copies_of(moved(TUNE, 0.5), TUNE)
    assert (copy.part, copy.of) == (0, 1)


def test_a_doubling_at_the_octave():
    _, (copy,) = copies_of(TUNE, moved(TUNE, 0.0, -12))
    assert (copy.part, copy.of, copy.octaves, copy.is_echo) == (1, 0, -1, False)


def test_a_doubling_that_leaves_some_notes_out():
    _, (copy,) = copies_of(TUNE, TUNE[::2] + BASS[:1])
    assert (copy.part, copy.of, len(copy.notes)) == (1, 0, 16)


def test_a_canon_and_another_line_are_music():
    assert copies_of(TUNE, moved(TUNE, 8.0))[1] == []
    assert copies_of(TUNE, BASS)[1] == []
    assert copies_of(TUNE, moved(TUNE, 0.0, -3))[1] == []


def test_echoes_double_what_still_sounds_and_never_in_a_chain():
    table, found = copies_of(TUNE, TUNE, moved(TUNE, 0.5))
    importance = 1.0 / (1.0 + np.arange(len(table.pitch)))
    same, _ = doubles(table, importance, found)
    assert (same[table.part == 2] >= 0).all()
    pointing = np.flatnonzero(same >= 0)
    assert (same[same[pointing]] == -1).all()
    short = [(onset, 0.25, pitch) for onset, _, pitch in TUNE]
    table, found = copies_of(short, moved(short, 0.5))
    assert found[0].is_echo
    assert (doubles(table, importance, found)[0] == -1).all()
