"""Tracked beats that divide in three are dotted: the bars of a jig are of 6/8."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.grid import plan_grid
from arranger.report import summary
from arranger.report.summaries.brief import lead
from arranger.settings import GridSettings, Settings
from tests.benchmarks.human import play

if TYPE_CHECKING:
    from tests.benchmarks.human import Performance

ENGINE = load_engine("twin-phase")
TUNE = (
    67,
    69,
    71,
    72,
    71,
    69,
    67,
    71,
    74,
    76,
    74,
    71,
    72,
    71,
    69,
    71,
    69,
    67,
    69,
    66,
    62,
    67,
    62,
    59,
)
"""Four bars in quavers, over chords of each bar."""
CHORDS = ((43, 59, 62), (43, 59, 62), (48, 60, 64), (43, 59, 62))


def jig(pickup: int = 0) -> Performance:
    """Return sixteen bars, ``pickup`` quavers late."""
    tune, below = [(n / 2, 0.5, 62 + 2 * n) for n in range(pickup)], []
    for bar in range(16):
        at = 3 * bar + pickup / 2
        for n, pitch in enumerate(TUNE[6 * (bar % 4) :][:6]):
            if bar % 2 and n == 4:
                continue  # long and short
            tune.append((at + n / 2, 1.0 if bar % 2 and n == 3 else 0.5, pitch))
        low, *high = CHORDS[bar % 4]
        below += [(at, 1.0, low), (at + 1.5, 1.0, low + 7 * (bar % 2))]
        below += [(at + late, 0.5, pitch) for late in (1.0, 2.5) for pitch in high]
    return play([tune, below], 4, bpm=156, jitter_seconds=0.01, metre=(6, 8))


@pytest.mark.parametrize("pickup", [0, 1])
def test_bars_of_beats_that_divide_in_three_are_compound(pickup: int) -> None:
    played = jig(pickup)
    grid = plan_grid(played.song, ENGINE)
    assert grid.basis == "tracked"
    assert {bar[3:5] for bar in grid.bars} == {(6, 8)}
    assert grid.step_beats == Fraction(1, 2)
    assert {bar.steps for bar in grid.bars[1:]} == {6}
    assert grid.asked_bpm == pytest.approx(156, rel=0.03)
    assert "dotted beats a minute" in grid.remarks[0]
    lines = np.array([bar.first_step for bar in grid.bars])
    quavers = np.rint(played.score_beats * 2).astype(int)
    at = grid.onset_steps - quavers
    assert set(at.tolist()) == {at[0]}, "every note on its quaver"
    assert (lines[1:] - at[0] - pickup).tolist() == [
        6 * n + (lines[1] - at[0] - pickup) for n in range(len(lines) - 1)
    ]
    # a bar of two beats begins with one of them; which is by ear
    assert (lines[1] - at[0] - pickup) % 3 == 0
    # what is told of beats is told of dotted ones
    dotted = np.median(np.diff(grid.beats_seconds))
    assert dotted == pytest.approx(90 / 156, rel=0.03)


def test_what_is_said_of_the_metre_says_whether_beats_are_dotted() -> None:
    song = jig().song
    for metre, sizes in (((3, 4), 3), ((12, 8), 12), ((6, 8), 6)):
        grid = plan_grid(
            song, ENGINE, GridSettings(metre=metre, step=Fraction(1, 2), pickup=Fraction())
        )
        assert {bar[3:5] for bar in grid.bars} == {metre}
        dotted = metre[1] == 8
        assert {bar.steps for bar in grid.bars[:3]} == {sizes if dotted else 2 * sizes}
        assert ("dotted" in grid.remarks[0]) == dotted


def test_beats_of_another_level_are_no_dotted_ones() -> None:
    grid = plan_grid(jig().song, ENGINE, GridSettings(tempo=52))
    assert grid.asked_bpm == 52
    assert {bar.denominator for bar in grid.bars} == {4}
    assert plan_grid(jig().song, ENGINE, GridSettings(tempo=104)).asked_bpm == 156


def test_the_tempo_that_chooses_such_beats_is_told() -> None:
    song = jig().song
    found = summary(convert(song, ENGINE, Settings()))
    assert found.dotted_bpm == pytest.approx(found.asked_bpm / 1.5)
    told = f"{found.dotted_bpm:.4g}"
    assert f", {told} dotted beats" in lead(found)
    again = summary(convert(song, ENGINE, Settings(grid=GridSettings(tempo=float(told)))))
    assert again.dotted_bpm == pytest.approx(found.dotted_bpm, rel=0.02)
    assert (
        summary(convert(song, ENGINE, Settings(grid=GridSettings(metre=(3, 4))))).dotted_bpm is None
    )
