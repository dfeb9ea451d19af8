"""What a sheet takes over from grid and song: its tempo, marks of sections, words."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random

from arranger.conversion import convert
from arranger.conversion.pipeline import _bars, written_tempo
from arranger.engine import load_engine
from arranger.grid import Section, plan_grid
from arranger.settings import GridSettings, Settings
from arranger.song.model import Mark
from tests.grid.songs import TICKS, song_of

ENGINE = load_engine("twin-phase")
LINE = [(n / 2, 0.5, 60 + n % 7) for n in range(16 * 8)]


def test_a_tempo_is_written_with_as_few_digits_as_lead_to_the_step_that_is_played() -> None:
    """Two, four or eight after the point; what was asked for if it can be, else what is played."""
    random = Random(6)
    grid = plan_grid(song_of(LINE), ENGINE, GridSettings(step=Fraction(1, 4)))
    digits = set()
    for _ in range(200):
        length = random.choice(ENGINE.step_lengths)
        near = 60 * 0.25 / length.seconds * random.choice((1, 1, 1 + random.gauss(0, 1e-4), 3))
        now = replace(grid, asked_bpm=near, step_length=length)
        given = [round(bpm, d) for bpm in (near, 15 / length.seconds) for d in (2, 4, 8)]
        fits = [bpm >= 1 and ENGINE.nearest_step_length(15 / bpm) == length for bpm in given]
        found = written_tempo(now, ENGINE)
        assert found == given[fits.index(True)]
        digits.add(fits.index(True))
    assert {0, 3} <= digits


def test_bars_are_marked_where_a_section_begins_and_where_what_is_none() -> None:
    grid = plan_grid(song_of(LINE), ENGINE, GridSettings(step=Fraction(1, 2)))
    assert len(grid.bars) == 16
    sections = (Section("A", 1, 4), Section("B", 5, 4), Section("A", 11, 4))
    marks = [bar.section for bar in _bars(replace(grid, sections=sections))]
    assert marks == ["", "A", *[""] * 3, "B", *[""] * 3, "other", "", "A", *[""] * 3, "other"]


def test_words_outside_of_the_passage_are_left_out() -> None:
    words = {0: "before", 5: "one", 7: "two", 9: "three", 11: "last", 12: "after", 40: "long after"}
    marks = tuple(Mark(round(beat * TICKS), "lyrics", text) for beat, text in words.items())
    song = song_of(LINE, marks=marks)
    sheet = convert(song, ENGINE, Settings(grid=GridSettings(bars=(2, 3)))).sheet
    assert [tuple(each)[:2] for each in sheet.comments] == [
        (0, "words: one two"),
        (1, "words: three last"),
    ]
