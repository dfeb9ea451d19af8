"""Loop points, from markers, controller 111 or the user."""

from __future__ import annotations

import pytest

from arranger.engine import load_engine
from arranger.errors import SettingsError
from arranger.grid import plan_grid
from arranger.settings import GridSettings
from arranger.song.model import Control, Mark
from tests.grid.songs import TICKS, song_of

ENGINE = load_engine("twin-phase")
BARS = 6
LINE = [(i / 2, 0.5, 60 + i % 7) for i in range(BARS * 8)]


@pytest.mark.parametrize("text", ["loopStart", "Loop Start", "LOOP", "[loop_begin]"])
def test_a_marker_sets_the_loop(text):
    grid = plan_grid(song_of(LINE, marks=(Mark(4 * TICKS, "marker", text),)), ENGINE)
    assert grid.loop_step == 8
    assert any("goes on from bar 2" in remark for remark in grid.remarks)


def test_controller_111_sets_the_loop():
    grid = plan_grid(song_of(LINE, controls=(Control(8 * TICKS, 0, 111, 0),)), ENGINE)
    assert grid.loop_step == 16


def test_a_loop_from_the_very_end_is_left_out():
    for beat, step in ((23.5, 47), (24, None)):
        grid = plan_grid(
            song_of(LINE, marks=(Mark(round(beat * TICKS), "marker", "loop"),)), ENGINE
        )
        assert (grid.steps, grid.loop_step) == (48, step)


def test_lyrics_and_other_words_set_nothing():
    marks = (Mark(0, "lyrics", "loop"), Mark(0, "marker", "loop the loop"))
    assert plan_grid(song_of(LINE, marks=marks), ENGINE).loop_step is None


def test_the_loops_end_ends_the_piece():
    marks = (Mark(4 * TICKS, "marker", "loopStart"), Mark(16 * TICKS, "marker", "loopEnd"))
    grid = plan_grid(song_of(LINE, marks=marks), ENGINE)
    assert (grid.loop_step, grid.steps, len(grid.bars)) == (8, 32, 4)
    assert grid.onset_steps.tolist() == list(range(32)) + [-1] * 16
    assert any("what follows is left out" in remark for remark in grid.remarks)


def test_the_user_goes_first():
    song = song_of(LINE, marks=(Mark(4 * TICKS, "marker", "loopStart"),))
    assert plan_grid(song, ENGINE, GridSettings(loop="none")).loop_step is None
    assert plan_grid(song, ENGINE, GridSettings(loop="3")).loop_step == 16
    assert plan_grid(song, ENGINE, GridSettings(loop="3", bars=(2, 4))).loop_step == 8
    with pytest.raises(SettingsError, match=r"--loop 9.*from 1 to 6"):
        plan_grid(song, ENGINE, GridSettings(loop="9"))
    with pytest.raises(SettingsError, match="--loop chorus"):
        plan_grid(song, ENGINE, GridSettings(loop="chorus"))


def test_a_loop_outside_the_passage_is_said():
    song = song_of(LINE, marks=(Mark(4 * TICKS, "marker", "loopStart"),))
    grid = plan_grid(song, ENGINE, GridSettings(bars=(3, 4)))
    assert grid.loop_step is None
    assert any("outside of what is converted" in remark for remark in grid.remarks)
