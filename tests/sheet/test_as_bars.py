"""Bars that are as another one, and sections: read, written, checked, kept by MIDI."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.errors import SheetError
from arranger.rows import HOLD, REST
from arranger.settings import Settings
from arranger.sheet import Sheet, SheetBar, format_sheet, is_edited, parse, with_digest
from arranger.sheet.check import check_text
from arranger.sheet.excerpt import cut_bars, go_round
from arranger.sheet.form.as_bars import settled, written_out
from arranger.sheet.form.parse import scan
from arranger.sheet.midi import to_midi
from arranger.sheet.record.digest import bar_digests, sheet_digest
from arranger.song import read_song_bytes

from .strategies import sheets

ENGINE = load_engine("twin-phase")
LENGTH = ENGINE.nearest_step_length(0.25).setting

HEAD = f"""\
arranger-sheet 1
title     Low tide
engine    twin-phase
step      1/2 beat
length    {LENGTH}

"""

FOLDED = (
    HEAD
    + """\
bar 1   2/4   section A
  voice 1   C4  -   | E4  .
  voice 2   .   .   | C3  -
  drums     .   .   | .   .

bar 2   3/4   5 steps
  voice 1   D4  -   | -   .   | F4
  voice 2   .   .   | .   .   | .
  drums     hat .   | .   .   | .

bars 3-4   as 1-2   section B   loop 2   # again

bar 5   3/4   5 steps   as 4
# to be checked

bar 7   2/4   as 1
"""
)


def test_a_folded_sheet_is_read_and_written_as_it_stands() -> None:
    """Cells and indices by hand."""
    sheet = parse(FOLDED)
    first, second = (60, HOLD, 64, REST), (62, HOLD, HOLD, REST, 65)
    assert sheet.voice1 == first + second + first + second + second + first
    assert sheet.bars == (
        SheetBar(1, 4, 2, 4, None, "A"),
        SheetBar(2, 5, 3, 4),
        SheetBar(3, 4, 2, 4, 0, "B"),
        SheetBar(4, 5, 3, 4, 1),
        SheetBar(5, 5, 3, 4, 3),
        SheetBar(7, 4, 2, 4, 0),
    )
    assert sheet.loop_step == 4 + 5 + 1
    assert [(c.bar, c.row, c.beside) for c in sheet.comments] == [(2, 0, True), (4, 4, False)]
    assert format_sheet(sheet) == FOLDED.replace("# to", "  # to")


@settings(max_examples=40)
@given(sheets(commented=False))
def test_writing_bars_out_changes_nothing_but_that(sheet: Sheet) -> None:
    out = replace(sheet, bars=written_out(sheet.bars))
    text = format_sheet(out)
    assert not any(" as " in line for line in text.splitlines() if line.startswith("bar"))
    assert parse(text) == out
    assert bar_digests(out) == bar_digests(sheet)


def test_a_number_means_the_last_bar_above_that_has_it() -> None:
    text = HEAD + "bar 1 1/2\nvoice 1 C4\nbar 1\nvoice 1 D4\nbar 2 as 1\nbars 3-5 as 1-3\n".replace(
        "1/2", "1/8"
    )
    sheet = parse(text)
    assert sheet.voice1 == (60, 62, 62, 62, 62, 62)
    assert [bar.as_bar for bar in sheet.bars] == [None, None, 1, 1, 2, 3]
    bars = (*sheet.bars[:2], sheet.bars[2]._replace(as_bar=0))
    hidden = replace(sheet, bars=bars, voice1=(60, 62, 60), voice2=(REST,) * 3, drums=(None,) * 3)
    again = parse(format_sheet(hidden))
    assert again == replace(hidden, bars=written_out(bars))


def test_a_comment_on_a_row_of_a_bar_that_is_as_another_stands_below_it() -> None:
    sheet = parse(FOLDED)
    comments = tuple(c._replace(row=2, beside=True) for c in sheet.comments)
    again = parse(format_sheet(replace(sheet, comments=comments)))
    assert again.comments == tuple(c._replace(row=4, beside=False) for c in comments)


@pytest.mark.parametrize(
    ("bars", "line", "code", "told", "remedy"),
    [
        ("bar 5 as 3", 1, "as-bar", "there is no bar 3 above", "above stand bars 1 to 2"),
        ("bar 5 as 5", 1, "as-bar", "there is no bar 5 above", "name one that is"),
        ("bar as x", 1, "as-bar", "as 'x' names no bar", "like as 1"),
        ("bars 5-6 as 2-3", 1, "as-bar", "there is no bar 3 above", "name one that is"),
        ("bars 5-8 as 1-2", 1, "as-run", "bars 5-8 are 4 bars, 1-2 are 2", "as 1-4, or bars 5-6"),
        ("bars 5-6 as 1", 1, "as-run", "bars 5-6 are 2 bars, 1 is one", "write as 1-2"),
        ("bar 5 as 1-2", 1, "as-run", "bar 5 is 1 bar, 1-2 are 2", "write as 1, or bars 5-6"),
        ("bars 6-5 as 1-2", 1, "as-run", "bars 6-5 run backwards", "write bars 5-6"),
        ("bars 5-6 as 2-1", 1, "as-run", "bars 2-1 run backwards", "write as 1-2"),
        ("bars 5-6", 1, "as-run", "it doesn't say what", "bars 9-16   as 1-8"),
        (
            "bars 5\u20136 as 1\u20132",
            1,
            "bar-line",
            "'5\u20136 as 1\u20132'",
            "did you mean '5-6'?",
        ),
        ("bar 5 3/4 as 1", 1, "as-metre", "bar 1, which is in 2/4", "write 2/4, or no metre"),
        ("bars 5-6 2/4 as 1-2", 1, "as-metre", "bar 6 is as bar 2, which is in 3/4", "write 3/4"),
        ("bar 5 3 steps as 1", 1, "as-steps", "bar 1, which has 4 steps", "write 4 steps, or none"),
        ("bar 5 as 1 section 2", 1, "section", "'2' can't be the name", "section B"),
        ("bar 5 as 1 loop 5", 1, "loop", "no step 5", "1 to 4"),
        (
            "bar 5 as 1\nvoice 1 C4\nvoice 2 C4",
            2,
            "as-rows",
            "bar 5 is as 1, so no row stands below",
            "take as 1 away and write all its rows",
        ),
        (
            "bars 5-6 as 1-2\ndrums . .",
            2,
            "as-rows",
            "bars 5-6 are as 1-2",
            "or take the rows away",
        ),
    ],
)
def test_what_is_wrong_is_told_with_what_to_do(
    bars: str, line: int, code: str, told: str, remedy: str
) -> None:
    head = FOLDED[: FOLDED.index("bars 3-4")]
    (problem,) = scan(head + bars + "\n").problems
    assert (problem.line, problem.code) == (head.count("\n") + line, code)
    assert told in problem.what
    assert remedy in problem.remedy


def test_comments_at_rows_that_cannot_stand_there_are_kept_below_the_bar() -> None:
    found = scan(FOLDED + "# low\nvoice 1 C4 # high\n")
    assert [(c.bar, c.text, c.row) for c in found.sheet.comments[2:]] == [
        (5, "low", 4), (5, "high", 4),
    ]  # fmt: skip


def test_the_bars_above_are_told_and_lines_of_rows_are_known() -> None:
    found = scan(HEAD + "bar 1 2/4\nbar 7 2/4\nvoice 1 ....\nbar -4 2/4\nbar 5 as 7\nbar 6 as 4\n")
    assert found.problems[0].remedy == "name one that is: above stand bars -4 to 7"
    assert found.row_lines == [
        (7, 0, 0, 0), (8, 9, 0, 0), (10, 0, 0, 0), (11, 0, 0, 0), (12, 0, 0, 0),
    ]  # fmt: skip
    (first,) = scan(HEAD + "bar 1 2/4 as 1\n").problems
    assert first.remedy == "write the bar's rows below, since it has no bar above it"
    (second,) = scan(HEAD + "bar 3 2/4\nbar 4 as 4\n").problems
    assert second.remedy == "name one that is: above stands bar 3"


def test_a_problem_in_a_bar_that_others_are_as_is_told_once() -> None:
    text = FOLDED.replace("C4  -   | E4  .", "C8  -   | E4  -")
    problems = check_text(text, load_engine).problems
    assert [(p.code, p.line, p.column) for p in problems] == [("outside-pitch-table", 8, 13)]


def test_a_problem_that_comes_of_what_stands_before_is_told_at_the_bars_own_line() -> None:
    text = FOLDED.replace("D4  -   | -   .", "-   -   | -   .").replace(
        "C4  -   | E4  .", "C4 - - -"
    )
    text += "\nbar 8 2/4\n\nbar 9 as 2\n"
    problems = check_text(text, load_engine).problems
    found = [(p.code, p.line, p.column) for p in problems]
    assert found == [("hold-nothing", text.split("\n").index("bar 9 as 2") + 1, 1)]
    assert problems[0].what.endswith("(step 1 of bar 9, which is as bar 2)")


def test_a_bar_that_differs_from_what_it_is_as_is_not_written() -> None:
    sheet = parse(FOLDED)
    other = replace(sheet, drums=(*sheet.drums[:-1], "kick"))
    with pytest.raises(SheetError, match="bar 7 isn't what the bar is that it is as"):
        format_sheet(other)
    assert [bar.as_bar for bar in settled(other).bars] == [None, None, 0, 1, 3, None]
    for as_bar in (5, -1, 1):
        bars = (*sheet.bars[:-1], sheet.bars[-1]._replace(as_bar=as_bar))
        assert settled(replace(sheet, bars=bars)).bars[-1].as_bar is None
    with pytest.raises(SheetError, match="'2nd' can't be the name of a section"):
        format_sheet(replace(sheet, bars=(sheet.bars[0]._replace(section="2nd"), *sheet.bars[1:])))


def test_bars_of_a_passage_are_written_out() -> None:
    sheet = parse(FOLDED)
    for passage in (cut_bars(sheet, 3, 7), go_round(sheet, 2)):
        assert parse(format_sheet(passage)).voice1 == passage.voice1


def test_structure_counts_as_an_edit_and_leaves_digests_without_it_as_they_were() -> None:
    """The digest of the plain sheet was taken before sheets had such bars."""
    sheet = with_digest(parse(FOLDED))
    plain = replace(sheet, bars=tuple(bar[:4] and SheetBar(*bar[:4]) for bar in sheet.bars))
    assert sheet_digest(plain) == "789bfadc308cd1ab"
    assert is_edited(plain)
    assert is_edited(replace(sheet, bars=written_out(sheet.bars)))
    assert is_edited(replace(sheet, bars=(sheet.bars[0]._replace(section="C"), *sheet.bars[1:])))


def test_a_bar_is_as_another_after_midi_only_where_both_still_play_the_same() -> None:
    """A hold of nothing becomes silence, so the first bar and its copy differ afterwards."""
    text = HEAD + "bar 1 2/4\nvoice 1 - - C4 -\nbar 2 as 1\nbar 3 as 2\n"
    song = read_song_bytes(to_midi(parse(text), ENGINE), "again.mid")
    again = convert(song, ENGINE, Settings()).sheet
    assert again.voice1 == (REST, REST, 60, HOLD, *((HOLD, HOLD, 60, HOLD) * 2))
    assert [bar.as_bar for bar in again.bars] == [None, None, 1]
