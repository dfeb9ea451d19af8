"""What holds for every song and every setting."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.grid import plan_grid
from arranger.settings import STEP_CHOICES, GridSettings
from tests.grid.songs import song_of

ENGINE = load_engine("twin-phase")

# Shrinking a whole song takes minutes, so failing examples are reported as they are found.
FOUND = [Phase.explicit, Phase.reuse, Phase.generate]

note = st.tuples(
    st.integers(0, 40 * 12).map(lambda n: Fraction(n, 12)),
    st.integers(0, 60).map(lambda n: Fraction(n, 12)),
    st.integers(30, 90),
)
loose_note = st.tuples(st.floats(0, 40), st.floats(0, 4), st.integers(30, 90))
part = st.lists(st.one_of(note, loose_note), min_size=1, max_size=24)
metres = st.lists(
    st.tuples(st.integers(1, 30), st.integers(1, 9), st.sampled_from([2, 4, 8])), max_size=3
).map(lambda changes: ((0, 4, 4), *sorted({c[0]: c for c in changes}.values())))
choices = st.builds(
    GridSettings,
    step=st.sampled_from([None, *STEP_CHOICES, Fraction(1, 5)]),
    beat=st.sampled_from(["auto", "file", "track"]),
    clock=st.sampled_from(["beat", "clock"]),
    swing=st.sampled_from(["auto", "play", "straighten"]),
)


@settings(max_examples=120, deadline=None, phases=FOUND)
@given(parts=st.lists(part, min_size=1, max_size=3), metres=metres, chosen=choices)
def test_grids_are_whole(parts, metres, chosen):
    song = song_of(*parts, metres=metres)
    grid = plan_grid(song, ENGINE, chosen)
    # Every note has a place, within the sheet, of at least one step.
    assert grid.onset_steps.shape == grid.end_steps.shape == (len(song.notes),)
    assert grid.onset_steps.min() >= 0
    assert grid.onset_steps.max() < grid.steps
    assert (grid.end_steps > grid.onset_steps).all()
    assert grid.end_steps.max() <= grid.steps
    # Bars cover the sheet exactly.
    edges = [bar.first_step for bar in grid.bars] + [grid.steps]
    assert edges[0] == 0
    assert [bar.steps for bar in grid.bars] == np.diff(edges).tolist()
    assert min(np.diff(edges)) > 0
    # Later notes never land earlier, and equal onsets land together.
    onsets = np.array([each.onset for each in song.notes])
    assert (np.diff(grid.onset_steps[np.argsort(onsets, kind="stable")]) >= 0).all()
    # The choice is the asked one, or the cheapest, and is listed first.
    assert grid.alternatives[0].step_beats == grid.step_beats
    if chosen.step is None:
        assert grid.alternatives[0].cost == min(each.cost for each in grid.alternatives)
    else:
        assert grid.step_beats == chosen.step


@settings(max_examples=40, deadline=None, phases=FOUND)
@given(parts=st.lists(st.lists(note, min_size=1, max_size=24), min_size=1, max_size=3))
def test_on_the_finest_step_nothing_written_moves(parts):
    song = song_of(*parts)
    grid = plan_grid(song, ENGINE, GridSettings(step=Fraction(1, 12), beat="file"))
    origin = Fraction(grid.first_tick, song.ticks_per_beat)
    asked = [(Fraction(each.onset, song.ticks_per_beat) - origin) * 12 for each in song.notes]
    assert grid.onset_steps.tolist() == [int(each) for each in asked]


@settings(max_examples=40, deadline=None, phases=FOUND)
@example(
    parts=[
        [
            (Fraction(92, 3), Fraction(1, 6), 90),
            (Fraction(13, 3), 0, 69),
            (Fraction(92, 3), Fraction(1, 6), 90),
        ]
    ]
)
@example(
    parts=[
        [
            (0, 4, 36),
            (Fraction(97, 6), Fraction(29, 6), 88),
            (Fraction(211, 12), Fraction(1, 4), 34),
            (Fraction(73, 3), Fraction(11, 3), 50),
            (Fraction(53, 3), Fraction(53, 12), 68),
            (Fraction(173, 6), Fraction(1, 3), 90),
            (Fraction(43, 12), Fraction(9, 2), 62),
            (Fraction(11, 6), Fraction(11, 4), 41),
            (Fraction(35, 4), Fraction(35, 12), 54),
            (Fraction(445, 12), Fraction(23, 12), 87),
            (Fraction(35, 2), Fraction(1, 6), 84),
            (Fraction(65, 6), Fraction(7, 2), 84),
        ],
        [
            (Fraction(359, 12), Fraction(49, 12), 54),
            (Fraction(307, 12), Fraction(13, 12), 41),
            (Fraction(211, 12), Fraction(7, 3), 41),
            (Fraction(117, 4), 2, 64),
            (Fraction(121, 12), 4, 32),
            (Fraction(45, 4), Fraction(1, 2), 78),
            (Fraction(479, 12), Fraction(23, 6), 73),
            (Fraction(59, 6), Fraction(5, 2), 70),
            (Fraction(25, 3), Fraction(41, 12), 31),
            (Fraction(37, 4), Fraction(3, 4), 66),
            (Fraction(359, 12), Fraction(13, 4), 67),
            (Fraction(47, 3), 5, 50),
            (Fraction(95, 12), Fraction(17, 4), 76),
            (Fraction(25, 3), Fraction(3, 2), 30),
            (Fraction(56, 3), 5, 64),
        ],
    ]
)
@given(parts=st.lists(st.lists(note, min_size=1, max_size=24), min_size=1, max_size=2))
def test_a_bar_of_silence_before_changes_nothing_else(parts):
    later = [[(onset + 4, length, pitch) for onset, length, pitch in part] for part in parts]
    by_file = GridSettings(beat="file")
    first, second = (plan_grid(song_of(*each), ENGINE, by_file) for each in (parts, later))
    assert first.step_beats == second.step_beats
    assert first.onset_steps.tolist() == second.onset_steps.tolist()
    assert first.end_steps.tolist() == second.end_steps.tolist()
    assert second.bars[0].number == first.bars[0].number + 1
