"""Passages and rounds: what --bars and --loop play."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from arranger.bars import parse_bars
from arranger.errors import LimitError, SettingsError
from arranger.rows import HOLD, REST, tones
from arranger.sheet import Sheet, SheetBar, with_digest
from arranger.sheet.bar_edits.structure import insert_bars
from arranger.sheet.excerpt import cut_bars, go_round
from arranger.sheet.played import place_of

SHEET = Sheet(
    title="",
    engine="twin-phase",
    step_beats=Fraction(1),
    length=1,
    bars=(SheetBar(0, 1, 2, 4), SheetBar(1, 2, 2, 4), SheetBar(2, 2, 2, 4)),
    voice1=(60, HOLD, HOLD, HOLD, 62),
    voice2=(REST, HOLD, 48, REST, REST),
    drums=("kick", None, None, None, "snare"),
)


def test_a_tone_held_into_the_passage_starts_with_it() -> None:
    passage = cut_bars(replace(SHEET, loop_step=1), 1, 2)
    assert passage.voice1 == (60, HOLD, HOLD, 62)
    assert passage.voice2 == (REST, 48, REST, REST)  # a hold of nothing is silence
    assert passage.drums == (None, None, None, "snare")
    assert [bar.number for bar in passage.bars] == [1, 2]
    assert passage.loop_step is None


def test_a_step_is_told_with_the_songs_number_of_its_bar_where_that_differs() -> None:
    generated = with_digest(SHEET)
    assert place_of(generated, 2) == "bar 1, step 2"
    assert place_of(insert_bars(generated, 1, 1).sheet, 4) == "bar 2 (the song's 1), step 2"


def test_going_round_plays_on_from_the_loop_step() -> None:
    looped = go_round(replace(SHEET, loop_step=2), 3)
    assert tones(looped.voice1) == [60, 60, 60, 60, 62, 60, 60, 62, 60, 60, 62]
    assert tones(looped.voice2) == [None, None, 48, None, None] + [48, None, None] * 2
    assert looped.drums == SHEET.drums + SHEET.drums[2:] * 2
    assert sum(bar.steps for bar in looped.bars) == looped.steps == 11


def test_a_sheet_without_a_loop_goes_round_from_its_start() -> None:
    assert go_round(SHEET, 2).voice1 == SHEET.voice1 * 2
    assert go_round(SHEET, 1).voice1 == SHEET.voice1


def test_bars_that_are_not_there_are_told() -> None:
    with pytest.raises(SettingsError, match="it has bars 0 to 2"):
        cut_bars(SHEET, 3, 9)
    with pytest.raises(SettingsError, match="write 5-8"):
        parse_bars("8-5")
    with pytest.raises(SettingsError, match="write it like 5-8"):
        parse_bars("all")


def test_rounds_without_end_are_refused() -> None:
    with pytest.raises(LimitError, match="--loop"):
        go_round(replace(SHEET, voice1=SHEET.voice1 * 1000, bars=()), 1000)
