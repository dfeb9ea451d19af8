"""The text form: what is written is read back, whatever the sheet."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given

from arranger.sheet import Sheet, format_sheet, parse
from arranger.sheet.text import group_steps

from .strategies import sheets


@given(sheets())
def test_every_sheet_survives_its_text(sheet: Sheet) -> None:
    assert parse(format_sheet(sheet)) == sheet


def test_cells_are_grouped_by_the_beat_of_the_metre() -> None:
    """Compound metres (6/8) count dotted beats; 3/8 has three beats of an eighth."""
    sixteenth = Fraction(1, 4)
    steps = [group_steps(sixteenth, *metre) for metre in ((4, 4), (6, 8), (3, 8), (9, 16))]
    assert steps == [4, 6, 2, 3]
