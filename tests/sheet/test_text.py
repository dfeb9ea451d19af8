"""The text form: what is written is read back, whatever the sheet."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given

from arranger.rows import HOLD, REST
from arranger.sheet import Sheet, SheetBar, format_sheet, parse
from arranger.sheet.form.text import group_steps, rows_text
from arranger.sheet.model import BarDigest, Digests

from .strategies import sheets


@given(sheets())
def test_every_sheet_survives_its_text(sheet: Sheet) -> None:
    assert parse(format_sheet(sheet)) == sheet


def test_digests_stand_seven_a_line_and_start_anew_where_bars_do_not_count_on() -> None:
    numbers = [*range(1, 10), 20, 21, 21, 3]
    bars = tuple(BarDigest(number, f"{place:016x}") for place, number in enumerate(numbers))
    sheet = Sheet(
        title="", engine="twin-phase", step_beats=Fraction(1), length=2000,
        bars=(SheetBar(1, 1, 1, 4),), voice1=(60,), voice2=(REST,), drums=(None,),
        generated=Digests("a" * 16, "b" * 16, "c" * 16, bars),
    )  # fmt: skip
    lines = [line.split() for line in format_sheet(sheet).splitlines() if "generated" in line]
    found = [(int(words[1]), len(words) - 2) for words in lines if words[1].isdecimal()]
    assert found == [(1, 7), (8, 2), (20, 2), (21, 1), (3, 1)]


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
