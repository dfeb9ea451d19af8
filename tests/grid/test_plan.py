"""plan_grid on songs written by hand; every expected step is counted by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from arranger.engine import load_engine
from arranger.errors import LimitError, SettingsError, SongError
from arranger.grid import plan_grid
from arranger.settings import GridSettings
from arranger.song.model import TempoChange
from tests.grid.songs import TICKS, song_of
from tests.reduce.little_songs import taking

ENGINE = load_engine("twin-phase")


def quavers(count: int = 16):
    """Return a line of quavers that never repeats a pitch."""
    return [(i / 2, 0.5, 60 + i % 7) for i in range(count)]


def test_quavers_get_a_quaver_step():
    grid = plan_grid(song_of(quavers()), ENGINE)
    assert grid.step_beats == Fraction(1, 2)
    assert grid.onset_steps.tolist() == list(range(16))
    assert grid.end_steps.tolist() == list(range(1, 17))
    assert (grid.steps, grid.first_tick, grid.basis) == (16, 0, "file")
    assert [(bar.number, bar.first_step, bar.steps) for bar in grid.bars] == [(1, 0, 8), (2, 8, 8)]


def test_triplets_get_a_triple_step():
    line = [(Fraction(i, 3), Fraction(1, 3), 60 + i % 5) for i in range(24)]
    assert plan_grid(song_of(line), ENGINE).step_beats == Fraction(1, 3)


def test_compound_metre_gets_three_steps_to_its_beat():
    grid = plan_grid(song_of(quavers(12), metres=((0, 6, 8),)), ENGINE)
    assert grid.step_beats == Fraction(1, 2)
    assert [bar.steps for bar in grid.bars] == [6, 6]


def test_repeated_notes_get_room_for_a_silent_step():
    line = [(i / 2, 0.5, 60) for i in range(16)]
    assert plan_grid(song_of(line), taking(ENGINE)).step_beats == Fraction(1, 4)
    assert plan_grid(song_of(line), ENGINE).step_beats == Fraction(1, 2), "it can rest for less"


def test_a_gate_of_95_percent_leaves_no_rest():
    line = [(i * 2, 1.9, 60 + i % 7) for i in range(6)] + [(12, 0.475, 64), (12.5, 0.475, 65)]
    grid = plan_grid(song_of(line), ENGINE, GridSettings(step=Fraction(1, 4)))
    assert grid.end_steps.tolist() == [8, 16, 24, 32, 40, 48, 50, 52]


def test_a_written_rest_stays_a_rest():
    line = [(0, 3.5, 60), (4, 3.5, 62), (8, 4, 64)]
    grid = plan_grid(song_of(line), ENGINE, GridSettings(step=Fraction(1, 2)))
    assert grid.end_steps.tolist() == [7, 15, 24]


def test_a_note_of_no_length_gets_a_step():
    grid = plan_grid(song_of([(0, 0, 60), (1, 1, 62)]), ENGINE)
    assert (grid.end_steps - grid.onset_steps).min() == 1


def test_chord_notes_played_apart_land_together():
    # 15 ms a note at 120 beats a minute, over the middle between two steps of a semiquaver.
    roll = [(4 + 1 / 8 + (i - 1.5) * 0.03, 1, 60 + 4 * i) for i in range(4)]
    grid = plan_grid(song_of([*quavers(8), *roll]), ENGINE, GridSettings(step=Fraction(1, 4)))
    assert len(set(grid.onset_steps[-4:].tolist())) == 1


def test_a_grace_note_does_not_push_its_main_note():
    line = [
        (0, 1, 60),
        (1 - 0.06, 0.06, 66),
        (1, 1, 67),
        (2, 0.06, 66),
        (2.06, 0.94, 67),
        (3, 1, 60),
    ]
    grid = plan_grid(song_of(line), ENGINE, GridSettings(step=Fraction(1, 8)))
    assert grid.onset_steps[[0, 2, 4, 5]].tolist() == [0, 8, 16, 24]


def test_a_flam_lands_on_its_main_stroke():
    strokes = [(i - 0.05 * first, 0.1, 38) for i in range(1, 8) for first in (1, 0)]
    grid = plan_grid(
        song_of(strokes, drums=frozenset({0})), ENGINE, GridSettings(step=Fraction(1, 12))
    )
    assert grid.onset_steps.tolist() == [12 * i for i in range(1, 8) for _ in range(2)]


def test_silent_bars_at_both_ends_are_trimmed_and_said():
    song = song_of([(9, 1, 60), (10, 1, 62)], [(16.0, 4, 72)])
    grid = plan_grid(song, ENGINE)
    assert [bar.number for bar in grid.bars] == [3, 4, 5]
    assert grid.first_tick == 8 * TICKS
    assert any("2 silent bars before the first note" in remark for remark in grid.remarks)


def test_a_passage_keeps_the_numbers_of_the_song():
    grid = plan_grid(song_of(quavers(64)), ENGINE, GridSettings(bars=(3, 4)))
    assert [bar.number for bar in grid.bars] == [3, 4]
    assert grid.steps == 16
    assert grid.onset_steps.tolist() == [-1] * 16 + list(range(16)) + [-1] * 32


def test_a_passage_that_is_not_there_is_refused():
    with pytest.raises(SettingsError, match=r"no bar 9.*it has bars 1 to 2"):
        plan_grid(song_of(quavers()), ENGINE, GridSettings(bars=(2, 9)))
    with pytest.raises(SettingsError, match="backwards"):
        plan_grid(song_of(quavers()), ENGINE, GridSettings(bars=(2, 1)))


def test_a_metre_change_gives_its_bar_lines():
    grid = plan_grid(song_of(quavers(20), metres=((0, 3, 4), (6, 4, 4))), ENGINE)
    assert [(bar.numerator, bar.steps) for bar in grid.bars] == [(3, 6), (3, 6), (4, 8)]


def test_a_song_without_notes_is_refused():
    with pytest.raises(SongError, match="no notes"):
        plan_grid(song_of(), ENGINE)


def test_hours_of_silence_are_refused_before_anything_is_made():
    song = song_of([(0, 1, 60), (2e6, 1, 60)])
    with pytest.raises(LimitError, match="limit of 200000 steps"):
        plan_grid(song, ENGINE)


def test_the_limit_of_steps_is_kept():
    with pytest.raises(LimitError, match="--bars"):
        plan_grid(song_of(quavers(64)), ENGINE, GridSettings(max_steps=32, step=Fraction(1, 12)))


def test_tempo_changes_are_flattened_and_said():
    tempos = (TempoChange(0, 500_000), TempoChange(13 * TICKS, 750_000))
    song = replace(song_of(quavers(40)), tempos=tempos)
    grid = plan_grid(song, ENGINE)
    assert grid.asked_bpm == pytest.approx(120)
    assert grid.onset_steps.tolist() == list(range(40))
    told = "the tempo is 120, but bars 4-5 are slower (80); "
    assert f"{told}all bars are played evenly at 120 (--clock clock: as they are)" in grid.remarks
    asked = plan_grid(song, ENGINE, GridSettings(tempo=90.0, beat="file"))
    assert any(f"{told}all bars are played evenly at 90 (" in each for each in asked.remarks)
    clock = plan_grid(song, ENGINE, GridSettings(clock="clock", step=Fraction(1, 2)))
    assert any("slower passages become longer tones" in each for each in clock.remarks)
    part = plan_grid(song, ENGINE, GridSettings(bars=(1, 3)))
    assert not any("slower" in each for each in part.remarks)


def test_the_tempo_is_the_median_over_the_beats():
    # A hundred beats near 120, no two alike, then six at 40.
    near = [TempoChange(i * TICKS, 500_000 + 40 * i - 2000) for i in range(100)]
    song = song_of([(i, 1, 60 + i % 7) for i in range(106)])
    grid = plan_grid(replace(song, tempos=(*near, TempoChange(100 * TICKS, 1_500_000))), ENGINE)
    assert grid.asked_bpm == pytest.approx(120, abs=0.5)


def test_a_song_that_is_over_at_once_has_the_tempo_that_rules_then():
    tempos = (TempoChange(0, 400_000), TempoChange(4 * TICKS, 750_000))
    grid = plan_grid(replace(song_of([(5, 0, 60)]), tempos=tempos), ENGINE)
    assert grid.asked_bpm == pytest.approx(80)


def test_a_metre_of_one_beat_throughout_is_none():
    # The bass and the long notes say where bars of four begin: on the file's third beat.
    bass = [(beat, 4, 36 + beat // 4 % 3 * 5) for beat in range(2, 66, 4)]
    tune = [(beat, 1, 72 + beat % 4) for beat in range(66)]
    song = song_of(tune, bass, metres=((0, 1, 4),))
    grid = plan_grid(song, ENGINE)
    assert {(bar.numerator, bar.denominator) for bar in grid.bars} == {(4, 4)}
    assert [bar.number for bar in grid.bars] == list(range(17))
    assert grid.bar_ticks[:3] == (0, 2 * TICKS, 6 * TICKS)
    assert "the file has no bars; those of 4/4 were found by ear" in grid.remarks
    alone = plan_grid(song_of([(0, 1, 60)], metres=((0, 1, 8),)), ENGINE)
    assert [bar.numerator for bar in alone.bars] == [4]


def test_a_bar_of_one_beat_among_others_stays():
    grid = plan_grid(song_of(quavers(18), metres=((0, 4, 4), (4, 1, 4), (5, 4, 4))), ENGINE)
    assert [bar.numerator for bar in grid.bars] == [4, 1, 4]


def test_bar_lines_are_known_in_ticks():
    song = song_of([(4 + i / 2, 0.5, 60 + i % 7) for i in range(14)], metres=((0, 4, 4), (8, 3, 4)))
    grid = plan_grid(song, ENGINE)
    assert [bar.number for bar in grid.bars] == [2, 3]
    assert grid.bar_ticks == (4 * TICKS, 8 * TICKS, 11 * TICKS)
    assert len(grid.bar_ticks) == len(grid.bars) + 1


def test_following_the_clock_makes_slow_bars_longer():
    tempos = (TempoChange(0, 500_000), TempoChange(12 * TICKS, 1_000_000))
    song = replace(song_of(quavers(32)), tempos=tempos)
    grid = plan_grid(song, ENGINE, GridSettings(clock="clock", step=Fraction(1, 2)))
    assert grid.onset_steps.tolist() == [*range(24), *range(24, 40, 2)]
    assert [bar.steps for bar in grid.bars] == [8, 8, 8, 16]


def test_a_note_on_the_files_beat_goes_to_the_nearer_step_however_usual_the_other_is():
    line = [(n, 1, 60 + n % 7) for n in range(40)] + [(10.28, 0.5, 80)]
    grid = plan_grid(song_of(line), ENGINE, GridSettings(step=Fraction(1, 2), beat="file"))
    assert grid.onset_steps[11] == 21


def test_beats_are_taken_over_from_a_grid_with_another_step(monkeypatch: pytest.MonkeyPatch):
    song = song_of([(n * 0.513, 0.4, 60 + n % 5) for n in range(64)])
    engine = load_engine("twin-phase")
    tracked = GridSettings(beat="track")
    first = plan_grid(song, engine, tracked)
    finer = replace(tracked, step=Fraction(1, 8))
    apart, faster = (plan_grid(song, engine, each) for each in (finer, replace(tracked, tempo=240)))
    again = plan_grid(song, engine, replace(tracked, tempo=240), first)
    assert again.onset_steps.tolist() == faster.onset_steps.tolist()
    monkeypatch.setattr("arranger.grid.plan.tracked_timeline", lambda *_: 1 / 0)
    together = plan_grid(song, engine, finer, first)
    assert together.step_beats == Fraction(1, 8)
    assert together.onset_steps.tolist() == apart.onset_steps.tolist()
    assert together.bars == apart.bars


def test_semiquavers_among_quavers_are_not_lost():
    """A musician writes such a bar in semiquavers (common practice, no source)."""
    quavers = [(n / 2, 0.5, 60 + n % 7) for n in range(64)]
    runs = [(32 + n / 4, 0.25, 72 - n) for n in range(4)]
    grid = plan_grid(song_of([*quavers, *runs]), load_engine("twin-phase"))
    assert grid.step_beats == Fraction(1, 4)
    assert plan_grid(song_of(quavers), load_engine("twin-phase")).step_beats == Fraction(1, 2)
