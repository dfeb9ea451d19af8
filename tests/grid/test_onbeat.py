"""The test whether a file follows its own beat, with its false-alarm rate."""

from __future__ import annotations

import numpy as np
import pytest

from arranger.engine import load_engine
from arranger.grid import follows_own_beat, plan_grid
from arranger.grid.onbeat import FEWEST_ONSETS, PHASE_ALARM
from tests.grid.songs import TICKS, song_of


def quavers(count: int = 200):
    return [(i / 2, 0.5, 60 + i % 7) for i in range(count)]


def test_a_written_song_follows():
    verdict = follows_own_beat(song_of(quavers()))
    assert verdict.follows
    assert verdict.exact
    assert verdict.statistic == pytest.approx(1.0)
    assert verdict.probability == pytest.approx(0.0, abs=1e-9)


def test_triplets_follow_at_thirds():
    verdict = follows_own_beat(song_of([(i / 3, 1 / 3, 60 + i % 7) for i in range(200)]))
    assert verdict.follows
    assert verdict.division == 3


def test_a_song_played_to_the_click_follows():
    # 10 ms of normal jitter at 120 beats a minute is 0.02 beats.
    rng = np.random.default_rng(5)
    line = [(1 + i / 2 + rng.normal(0, 0.02), 0.4, 60 + i % 7) for i in range(200)]
    verdict = follows_own_beat(song_of(line))
    assert verdict.follows
    assert not verdict.exact


def test_beats_after_a_pickup_are_where_the_bars_have_them():
    """As engravers write it: half a beat, then bars; short notes on the beat before long ones."""
    tune = [(0, 0.5, 60)] + [
        (0.5 + n + at, length, 62 + n % 5)
        for n in range(40)
        for at, length in ((0, 0.25), (0.25, 0.75))
    ]
    chords = [(0.5 + n, 1, pitch) for n in range(0, 40, 2) for pitch in (48, 55)]
    song = song_of(tune, chords, metres=((0, 4, 4), (0.5, 4, 4)))
    verdict = follows_own_beat(song)
    assert verdict.exact
    assert verdict.shift_beats == pytest.approx(0.0, abs=0.01)
    assert plan_grid(song, load_engine("twin-phase")).basis == "file"


def test_a_written_song_follows_though_half_of_a_24th_late_on_average():
    line = [(n + at, 0.1, 60) for n in range(40) for at in (0, 0.25, 0.5, 0.5 + 1 / 24, 0.75)]
    late = [(n + at + 1 / 24, 0.1, 60) for n in range(20) for at in (0, 0.25, 0.75)]
    verdict = follows_own_beat(song_of([*line, *late]))
    assert verdict.probability > PHASE_ALARM
    assert verdict.follows
    all_late = [(onset + 1 / 24, length, pitch) for onset, length, pitch in line]
    assert not follows_own_beat(song_of(all_late)).exact


def test_another_tempo_does_not_follow():
    line = [(i * 0.5437, 0.5, 60 + i % 7) for i in range(200)]
    verdict = follows_own_beat(song_of(line))
    assert not verdict.follows
    assert not verdict.keeps_tempo


def test_a_shifted_recording_keeps_the_tempo_but_not_the_beat():
    line = [(i / 2 + 0.11, 0.5, 60 + i % 7) for i in range(200)]
    verdict = follows_own_beat(song_of(line))
    assert not verdict.follows
    assert verdict.keeps_tempo
    assert verdict.shift_beats == pytest.approx(0.11, abs=0.002)
    assert "keep the file's tempo" in verdict.sentence


def test_a_few_onsets_are_believed():
    line = [(i * 0.5437, 0.5, 60) for i in range(FEWEST_ONSETS - 1)]
    verdict = follows_own_beat(song_of(line))
    assert verdict.follows
    assert "too few" in verdict.sentence


def test_a_song_without_notes_is_believed():
    verdict = follows_own_beat(song_of([]))
    assert verdict == (True, 0.0, 1.0, 1, 0, True, 0.0, False)
    assert verdict.sentence == "too few onsets (0) to tell; the file's beats are followed"
    clock = follows_own_beat(song_of([], own_beat=False))
    assert not clock.follows
    assert not clock.keeps_tempo


def test_clock_time_has_no_beat_to_follow():
    assert not follows_own_beat(song_of(quavers(), own_beat=False)).follows


def test_false_alarms_are_as_rare_as_stated():
    # Recordings at an arbitrary phase: PHASE_ALARM of them pass by accident. With 300 trials the
    # share is within 3 standard errors, sqrt(0.1 * 0.9 / 300) = 0.017 each, of the rate.
    rng = np.random.default_rng(11)
    passed = []
    for _ in range(300):
        shift, onsets = rng.random(), np.cumsum(rng.choice([0.25, 0.5, 1.0], 150))
        line = [(1 + shift + onset, 0.25, 60) for onset in onsets + rng.normal(0, 0.01, 150)]
        passed.append(follows_own_beat(song_of(line)).follows)
    assert np.mean(passed) == pytest.approx(PHASE_ALARM, abs=0.052)


def test_onsets_without_any_beat_hardly_ever_keep_the_tempo():
    rng = np.random.default_rng(12)
    for _ in range(100):
        onsets = np.cumsum(rng.exponential(0.4, 150))
        assert not follows_own_beat(song_of([(o, 0.25, 60) for o in onsets])).keeps_tempo


def test_31_onsets_are_too_few_to_tell_and_32_are_not():
    for count, believed in ((31, True), (32, False)):
        line = [(i * 0.5437, 0.5, 60) for i in range(count)]
        assert follows_own_beat(song_of(line)).follows == believed


def test_where_three_onsets_of_ten_stand_on_beats_to_the_tick_a_song_was_written():
    """The others are a tick late, which nobody plays, but nobody writes either."""
    for exactly, written in ((30, True), (29, False)):
        line = [(n + (n >= exactly) / TICKS, 0.5, 60) for n in range(100)]
        assert follows_own_beat(song_of(line)).exact == written


def test_ticks_of_a_96th_tell_what_was_written():
    for ticks, written in ((95, False), (96, True)):
        line = [(n * ticks / TICKS, 0.1, 60) for n in range(40)]
        assert follows_own_beat(song_of(line, ticks_per_beat=ticks)).exact == written


def test_a_song_that_sways_about_its_beats_keeps_their_tempo():
    """With a fifth of a beat either way, |z| is exp(-(0.4 pi)^2 / 2), 0.45; with a quarter 0.29."""
    rng = np.random.default_rng(8)
    sway = rng.normal(0, 1, 800)
    for beats, kept in ((0.2, True), (0.25, False)):
        line = [(2 + n + beats * at, 0.1, 60) for n, at in enumerate(sway.tolist())]
        assert follows_own_beat(song_of(line)).keeps_tempo == kept
