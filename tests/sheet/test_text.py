"""The text form: what is written is read back, whatever the sheet."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings

from arranger.errors import SheetError
from arranger.rows import HOLD, REST
from arranger.sheet import Sheet, format_sheet, parse, with_digest
from arranger.sheet.form.text import GENERATED_NOTE, group_steps, laid_out, rows_text
from arranger.sheet.model import SheetSound, SoundPart

from .strategies import sheets

LITTLE = "arranger-sheet 1\nengine twin-phase\nstep 1/4\ntempo 120\nbar 1 1/4\n  voice 1 C4 - - .\n"


@settings(max_examples=50)
@given(sheets())
def test_every_sheet_survives_its_text(sheet: Sheet) -> None:
    assert parse(format_sheet(sheet)) == sheet


def test_what_a_hand_says_beside_the_record_is_kept() -> None:
    text = format_sheet(with_digest(parse(LITTLE)))
    assert parse(text).comments == ()
    said = [comment.text for comment in parse(text.replace(GENERATED_NOTE, "mine")).comments]
    assert said == ["mine"]


def test_cells_are_grouped_by_the_beat_of_the_metre() -> None:
    """Compound metres (6/8) count dotted beats; 3/8 has three beats of an eighth."""
    sixteenth = Fraction(1, 4)
    steps = [group_steps(sixteenth, *metre) for metre in ((4, 4), (6, 8), (3, 8), (9, 16))]
    assert steps == [4, 6, 2, 3]


def test_what_sounds_together_stands_together() -> None:
    """Each column is as wide as its longest word, at least three characters."""
    rows = rows_text(
        (60, HOLD, 61, REST), (HOLD, 48, REST, HOLD), ("snare-hat", None, "rim", None), 2
    )
    assert rows == (
        "C4        -   | C#4 .",
        "-         C3  | .   -",
        "snare-hat .   | rim .",
    )
    assert rows_text((60,), (REST,), (None,), 0) == ("C4", ".", ".")


def test_where_bars_stand_in_the_text_is_known() -> None:
    text = (
        LITTLE
        + "bar 2 2/4 # below\n  # above the row\n  voice 1 D4 - - . . . . .\nbars 3-4 as 1-2\n"
    )
    found = laid_out(parse(text))
    for bar, (first, last) in enumerate(found.bars, 1):
        begin, end = found.lines[first - 1].split(), found.lines[last - 1].split()
        assert begin[:2] == (["bar", str(bar)] if bar < 3 else ["bars", "3-4"])
        assert end[0] == ("drums" if bar < 3 else "bars")
    assert found.bars[2] == found.bars[3]
    alone = laid_out(parse(LITTLE)).bars
    assert [last - first for first, last in alone] == [3]


def test_the_first_error_is_told_and_how_many_more() -> None:
    with pytest.raises(SheetError) as one:
        parse(LITTLE.replace("C4", "H4"))
    assert "more" not in str(one.value)
    with pytest.raises(SheetError, match=r"'H4' is no pitch.*1 more: arranger check lists all"):
        parse(LITTLE.replace("C4 -", "H4 X5"))


def test_a_bar_without_a_metre_has_that_of_the_one_before_and_the_first_four_quarters() -> None:
    found = parse(LITTLE.split("bar")[0] + "bar\nbar 2 3/8\nbar\n").bars
    assert [bar[:4] for bar in found] == [(1, 16, 4, 4), (2, 6, 3, 8), (3, 6, 3, 8)]


def test_what_can_not_be_read_back_is_not_written() -> None:
    sheet = parse(LITTLE)
    tap = SheetSound("tap", (SoundPart("kick", (150,), 24000),))
    for sounds in ((tap, tap), (tap._replace(parts=()),)):
        with pytest.raises(SheetError, match="defined twice, or has no part"):
            format_sheet(replace(sheet, sounds=sounds))


@pytest.mark.parametrize(("most", "fits"), [(6, True), (5, False)])
def test_a_sheet_may_have_as_many_steps_as_are_allowed(
    most: int, fits: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where a run of bars that are as others goes beyond that."""
    for module in ("blocks", "lines"):
        monkeypatch.setattr(f"arranger.sheet.form.{module}.MAX_STEPS", most)
    bars = "".join(f"bar {n} 1/4\n  voice 1 A4\n" for n in (1, 2, 3)) + "bars 4-6 as 1-3\n"
    text = f"arranger-sheet 1\nengine twin-phase\nstep 1\ntempo 120\n{bars}"
    if fits:
        assert parse(text).steps == 6
    else:
        with pytest.raises(SheetError, match="more than 5 steps"):
            parse(text)
