"""Folding repeats and writing them out; numbers that don't rise."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from arranger.cli.app import app
from arranger.engine import load_engine
from arranger.rows import REST
from arranger.sheet import Comment, Sheet, SheetBar, format_sheet, parse, read_sheet
from arranger.sheet.compare import Side, compare
from arranger.sheet.form.as_bars import unlike, written_out
from arranger.sheet.form.fold_repeats import _repeats, fold_repeats, unfold
from arranger.sheet.tidy import tidied

from .strategies import sheets

if TYPE_CHECKING:
    from pathlib import Path


def piece(kinds: str) -> Sheet:
    """Return a sheet of bars of one step: a letter is a pitch, a dot silence."""
    row = tuple(REST if kind == "." else ord(kind) - ord("A") + 60 for kind in kinds)
    return Sheet(
        title="", engine="twin-phase", step_beats=Fraction(1), tempo=120.0,
        bars=tuple(SheetBar(number, 1, 1, 4) for number in range(1, len(kinds) + 1)),
        voice1=row, voice2=(REST,) * len(row), drums=(None,) * len(row),
    )  # fmt: skip


def lines(sheet: Sheet) -> list[str]:
    return [line for line in format_sheet(sheet).split("\n") if " as " in line]


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        ("ABCDABCD", ["bars 5-8   as 1-4"]),
        ("AAAAAAAA", ["bar 2   1/4   as 1", "bars 3-4   as 1-2", "bars 5-8   as 1-4"]),
        # the longer run is taken whole, though a shorter one begins before it
        ("ABCDXYCABCDX", ["bar 7   1/4   as 3", "bars 8-12   as 1-5"]),
        ("ABCXABCDABCD", ["bars 5-7   as 1-3", "bars 9-12   as 5-8"]),
        ("A..B.A..", ["bars 6-8   as 1-3"]),
        ("....", []),
        ("ABBA", ["bar 3   1/4   as 2", "bar 4   1/4   as 1"]),
    ],
)
def test_the_longest_repeats_are_folded_first(kinds: str, expected: list[str]) -> None:
    folded = fold_repeats(piece(kinds))
    assert lines(folded) == expected
    assert parse(format_sheet(folded)) == folded


def test_repeats_are_alike_and_come_after_what_they_repeat() -> None:
    random = Random(4)
    for _ in range(60):
        kinds = [random.randrange(3) for _ in range(random.randrange(2, 30))]
        taken = [random.random() < 0.1 for _ in kinds]
        folded = [*taken]
        for index, other, count in _repeats(kinds, [False] * len(kinds), folded):
            assert other + count <= index
            assert kinds[other : other + count] == kinds[index : index + count]
            assert not any(taken[index : index + count])
            taken[index : index + count] = [True] * count
        assert taken == folded


def test_a_bar_with_a_comment_on_a_row_stays_written_out() -> None:
    sheet = replace(
        piece("ABCABCABC"), comments=(Comment(3, "low", 0), Comment(4, "softly", 1, True))
    )
    assert lines(fold_repeats(sheet)) == [
        "bar 4   1/4   as 1",
        "bar 6   1/4   as 3",
        "bars 7-9   as 1-3",
    ]


def test_marks_divide_a_run_but_do_not_keep_it_from_being_folded() -> None:
    sheet = piece("ABCDABCD")
    bars = (*sheet.bars[:5], sheet.bars[5]._replace(section="B"), *sheet.bars[6:])
    folded = fold_repeats(replace(sheet, bars=bars, loop_step=7))
    assert lines(folded) == [
        "bar 5   1/4   as 1", "bars 6-7   as 2-3   section B", "bar 8   1/4   as 4   loop",
    ]  # fmt: skip


def test_metre_and_steps_have_to_be_the_same() -> None:
    sheet = piece("AB")
    for bar in (SheetBar(2, 1, 2, 4), SheetBar(2, 1, 1, 8)):
        other = replace(sheet, bars=(sheet.bars[0], bar), voice1=(60, 60))
        assert fold_repeats(other) == other


repeating = st.text("AB.", min_size=1, max_size=24).map(piece) | sheets()


@settings(max_examples=50)
@given(repeating)
def test_folding_plays_the_same_and_twice_changes_nothing(sheet: Sheet) -> None:
    folded = fold_repeats(sheet)
    assert not unlike(folded)
    assert fold_repeats(folded) == folded
    assert unfold(folded) == unfold(sheet)
    for index, (bar, was) in enumerate(zip(folded.bars, sheet.bars, strict=True)):
        assert was.as_bar is None or bar == was, index


def test_folding_and_sections_make_no_difference_to_what_is_compared() -> None:
    sheet = piece("ABAB")
    folded = fold_repeats(sheet)
    named = replace(folded, bars=(folded.bars[0]._replace(section="A"), *folded.bars[1:]))
    engine = load_engine("twin-phase")
    assert not compare(Side(sheet, engine, 0), Side(named, engine, 0), None).bars


def test_numbers_that_do_not_rise_count_on_from_the_first(tmp_path: Path) -> None:
    text = format_sheet(fold_repeats(piece("ABCABC")))
    text = text.replace("bars 4-6", "bars 14-16").replace("bar 2  ", "bar 30 ").replace("-3", "-3")
    text = text.replace("   as 1-3", "   as 1")
    path = tmp_path / "x.duet"
    path.write_text(text.replace("bars 14-16   as 1", "bar 14 as 1\nbar 15 as 30\nbar 40 as 3"))
    result = CliRunner().invoke(app, ["tidy", str(path)])
    told = "bars numbered anew, 1 to 6, since bar 3 came after bar 30"
    assert result.stdout == f"{path}: aligned; {told}\n"
    assert read_sheet(path) == fold_repeats(piece("ABCABC"))
    assert tidied(read_sheet(path)) == (read_sheet(path), ())


def test_the_command_folds_and_writes_out(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    path.write_text(format_sheet(piece("ABAB")))
    run = CliRunner().invoke
    assert run(app, ["tidy", "--fold", "--check", str(path)]).exit_code == 1
    assert (
        run(app, ["tidy", "--fold", str(path)]).stdout
        == f"{path}: aligned; 2 bars written as others\n"
    )
    assert [bar.as_bar for bar in read_sheet(path).bars] == [None, None, 0, 1]
    assert run(app, ["tidy", str(path)]).stdout == f"{path}: was tidy\n"
    out = run(app, ["tidy", "--unfold", str(path), "-o", "-"])
    assert parse(out.stdout) == piece("ABAB")
    assert out.stderr.endswith("aligned; 2 bars written out\n")
    assert run(app, ["tidy", "--unfold", str(path)]).exit_code == 0
    assert read_sheet(path).bars == written_out(piece("ABAB").bars)
