"""The ledger's CSV, read back by the standard library's reader (RFC 4180)."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING

import pytest

from arranger.report import ledger_csv, ledger_json
from arranger.report.ledger.as_csv import unformulated

if TYPE_CHECKING:
    from arranger.conversion import Conversion

STABLE = (
    "id,track,part,part_name,channel,bar,beat,onset_tick,duration_tick,onset_seconds,pitch,"
    "pitch_name,velocity,drum,outcome,reasons,voice,step,steps,pitch_out,sound,explanation,late_seconds,"
    "song_bar,bar_rank"
)


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


def test_columns_are_stable(hand: Conversion) -> None:
    assert ledger_csv(hand).decode().split("\r\n")[0] == STABLE


def test_values(hand: Conversion) -> None:
    found = rows(ledger_csv(hand))
    assert len(found) == 9
    assert found[8]["bar"] == "2"
    assert found[8]["beat"] == "2.125"
    assert found[8]["pitch_name"] == "C5"
    assert found[2]["step"] == found[2]["voice"] == found[2]["pitch_out"] == ""
    assert (found[3]["drum"], found[3]["pitch_name"], found[3]["sound"]) == ("yes", "", "kick")


def test_a_name_is_no_formula_and_no_escape_sequence(hand: Conversion) -> None:
    name = rows(ledger_csv(hand))[0]["part_name"]
    assert name.startswith("'=")
    assert b"\x1b" not in ledger_csv(hand)


def test_says_the_same_as_the_json(parade: Conversion) -> None:
    notes = json.loads(ledger_json(parade))["notes"]
    table = rows(ledger_csv(parade))
    assert len(table) == len(notes)
    for row, note in zip(table, notes, strict=True):
        assert row["outcome"] == note["outcome"]
        assert row["reasons"].split() == note["reasons"]
        assert row["explanation"] == note["explanation"]
        assert float(row["late_seconds"]) == note["late_seconds"]
        assert row["step"] == ("" if note["step"] is None else str(note["step"]))


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@SUM(A1)", "\tx"])
def test_whatever_a_spreadsheet_would_compute_is_text(name: str) -> None:
    """The characters that start a formula (OWASP, "CSV Injection"), and a tab, which is passed over."""
    assert unformulated(name) == f"'{name}"
    assert unformulated("x" + name) == "x" + name
    assert unformulated("") == ""
