"""Loop points, from markers, controller 111 or the user."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger import convert
from arranger.engine import load_engine
from arranger.errors import SettingsError
from arranger.grid import plan_grid
from arranger.grid.loops import leads_back
from arranger.grid.model import GridBar, grid_bars
from arranger.report import summary
from arranger.settings import GridSettings, Settings
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


def test_a_loop_from_the_very_beginning_is_one() -> None:
    grid = plan_grid(song_of(LINE, marks=(Mark(0, "marker", "loop"),)), ENGINE)
    assert grid.loop_step == 0
    assert any("goes on from bar 1 " in remark for remark in grid.remarks)


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


def bars_of(*kinds: int) -> list[tuple[float, float, int]]:
    """Return a line of bars of quavers; bars of a kind are alike, those of others share nothing."""
    return [
        (4 * bar + n / 2, 0.5, 36 + (kind * 19 + n * n) % 48)
        for bar, kind in enumerate(kinds)
        for n in range(8)
    ]


INTRO, VERSE, CHORUS, CODA = (0, 1), (2, 3, 4, 5), (6, 7, 8, 9), (10, 11, 12)


@pytest.mark.parametrize(
    ("form", "bar"),
    [
        ((*VERSE, *VERSE), 1),
        ((*INTRO, *VERSE, *CHORUS, *VERSE, *CHORUS), 3),
        ((*INTRO, *VERSE, *CHORUS, *VERSE, *CHORUS, *CODA), None),  # it ends
        ((*INTRO, *VERSE, *CHORUS), None),  # nothing comes again
        ((*VERSE[:3], *VERSE[:3]), None),  # too little does
        ((*INTRO, *CODA, *INTRO, *VERSE, *CHORUS, *CHORUS), None),  # only the last bars would
    ],
)
def test_a_piece_goes_round_if_its_end_leads_back(form: tuple[int, ...], bar: int | None) -> None:
    song = song_of(bars_of(*form))
    grid = plan_grid(song, ENGINE)
    step = None if bar is None else grid.bars[bar - 1].first_step
    assert grid.loop_step == step
    assert any(f"leads back to bar {bar}," in each for each in grid.remarks) == (bar is not None)
    assert plan_grid(song, ENGINE, GridSettings(loop="none")).loop_step is None


def test_no_note_is_cut_where_a_piece_goes_round() -> None:
    form = (*INTRO, *VERSE, *CHORUS, *VERSE, *CHORUS)
    held = (
        7.5,
        1.0,
        90,
    )  # into the first verse; the second is gone back to instead, but is too near the end
    assert plan_grid(song_of(bars_of(*form), [held]), ENGINE).loop_step is None
    longer = (*INTRO, *VERSE, *CHORUS, *VERSE, *CHORUS, *VERSE, *CHORUS)
    grid = plan_grid(song_of(bars_of(*longer), [held]), ENGINE)
    assert grid.loop_step == grid.bars[10].first_step
    # The last bar is cut by the file's own end of its loop.
    marks = (Mark(71 * TICKS, "marker", "loop end"),)
    assert plan_grid(song_of(bars_of(*form), marks=marks), ENGINE).loop_step is None


@pytest.mark.parametrize(("beats", "whole"), [(3, True), (2, False)])
def test_the_last_bar_is_whole_if_it_is_as_long_as_the_others_of_its_metre(
    beats: int, whole: bool
) -> None:
    """A piece in 4/4 whose last part is in 3/4."""
    sizes = [4, 4, 3, 3, 3, 3, 3, 3, 3, beats]
    lines = [sum(sizes[:bar]) for bar in range(len(sizes) + 1)]
    bars = tuple(
        GridBar(bar + 1, lines[bar], size, 4 if bar < 2 else 3, 4) for bar, size in enumerate(sizes)
    )
    alike = np.eye(10, dtype=np.bool_) | np.eye(10, k=4, dtype=np.bool_)
    found = leads_back(alike, bars, np.array(lines[:-1]), np.array(lines[1:]))
    assert (found is not None) == whole


def test_a_note_over_the_end_is_not_cut_whatever_the_bar_before_the_last_is() -> None:
    sizes = [3, 3, 3, 3, 3, 3, 3, 4, 2]
    bars = grid_bars((number, size, size, 4) for number, size in enumerate(sizes, 1))
    alike = np.eye(9, dtype=np.bool_) | np.eye(9, k=4, dtype=np.bool_)
    lines = np.array([bar.first_step for bar in bars])
    for over, back in ((0, 1), (1, None), (2, None)):
        ends = np.append(lines[1:], sum(sizes) + over)
        assert leads_back(alike, bars, lines, ends) == back


@settings(max_examples=40, deadline=None)
@given(form=st.lists(st.integers(0, 3), min_size=2, max_size=24))
def test_what_follows_the_end_has_followed_it_before(form: list[int]) -> None:
    grid = plan_grid(song_of(bars_of(*form)), ENGINE)
    if grid.loop_step is None:
        return
    back = next(n for n, bar in enumerate(grid.bars) if bar.first_step == grid.loop_step)
    after = form[back : back + 4]
    assert any(
        form[at - 4 : at] == form[-4:]
        and form[at : at + 4][: len(after)] == after[: len(form) - at]
        for at in range(4, len(form))
    )
    assert 2 * grid.loop_step <= grid.steps


def test_a_section_that_comes_again_is_offered_to_go_back_to() -> None:
    song = song_of(bars_of(*INTRO, *VERSE, *CHORUS, *VERSE, *CODA))
    remarks = summary(convert(song, ENGINE, Settings())).remarks
    (offered,) = [remark for remark in remarks if "--loop" in remark]
    assert offered == "section A is bars 3-6, and again 11-14 (--loop 3: the end goes back to it)"
    grid = plan_grid(song, ENGINE, GridSettings(loop="3"))
    assert grid.loop_step == grid.bars[2].first_step
    round_ = song_of(bars_of(*INTRO, *VERSE, *CHORUS, *VERSE, *CHORUS))
    told = [
        each for each in summary(convert(round_, ENGINE, Settings())).remarks if "section" in each
    ]
    assert told
    assert not any("--loop" in each for each in told)
