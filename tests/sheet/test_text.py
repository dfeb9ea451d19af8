"""The text form: what is written is read back, whatever the sheet."""

from __future__ import annotations

from hypothesis import given

from arranger.sheet import Sheet, format_sheet, parse

from .strategies import sheets


@given(sheets())
def test_every_sheet_survives_its_text(sheet: Sheet) -> None:
    assert parse(format_sheet(sheet)) == sheet
