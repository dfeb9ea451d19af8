"""What a change of cells makes of a text: all that isn't changed stays as it was typed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arranger.rows import HOLD, REST
from arranger.sheet import parse
from arranger.sheet.form.in_place import _reads_as, written_into

HEAD = "arranger-sheet 1\nengine twin-phase\nstep 1 beat\ntempo 120\n# pier\n"
TAIL = "\nBAR 2 # quay\n voice 1 . . . -\nbar 3\n  voice 1   .   .   .   -  # odd\n"


def rewritten(bar: str, **rows: tuple[object, ...]) -> str:
    """Return what stands for the lines of a first bar once some of its rows are otherwise."""
    text = f"{HEAD}bar 1 4/4\n{bar}{TAIL}"
    sheet = parse(text)
    whole = {name: (*row, *getattr(sheet, name)[4:]) for name, row in rows.items()}
    now = replace(sheet, **whole)  # type: ignore[arg-type]
    found = written_into(text, now)
    assert parse(found) == now
    assert found.startswith(HEAD)
    assert found.endswith(TAIL)
    return found.removeprefix(HEAD).removesuffix(TAIL)


@pytest.mark.parametrize(
    ("typed", "cells", "found"),
    [
        ("C4---", (60, 67, HOLD, HOLD), "C4G4--"),
        ("C#4- - -", (60, HOLD, HOLD, HOLD), "C4- - -"),
        ("C4 - - -", (60, 61, HOLD, HOLD), "C4 C#4 - -"),
        ("C4 -  - -", (60, 61, HOLD, HOLD), "C4 C#4 - -"),
        ("C4 -   - -", (60, 61, HOLD, HOLD), "C4 C#4 - -"),
        ("C4 -    - -", (60, 61, HOLD, HOLD), "C4 C#4  - -"),
        ("C4  -   -   -   # x", (60, 67, HOLD, HOLD), "C4  G4  -   -   # x"),
        ("C#4 - - -", (60, HOLD, HOLD, HOLD), "C4  - - -"),
        ("C4 - - -   # said", (60, HOLD, HOLD, 62), "C4 - - D4   # said"),
        ("C4 - - C#4", (60, HOLD, HOLD, HOLD), "C4 - - -"),
        ("c4 - - -", (60, HOLD, HOLD, 62), "c4 - - D4"),
        ("B#3 - - -", (60, HOLD, 62, HOLD), "B#3 - D4 -"),
        ("| C4 - | - - | #", (60, 62, HOLD, HOLD), "| C4 D4 | - - | #"),
        ("C4D4E4F4", (REST, HOLD, 64, 0), ".-E4C-1"),
    ],
)
def test_only_the_words_of_cells_that_changed_are_written(
    typed: str, cells: tuple[int, ...], found: str
) -> None:
    row = " voice 1 "
    assert rewritten(row + typed, voice1=cells) == f"bar 1 4/4\n{row}{found}"
    assert rewritten(row + typed + "\n drums kick ...", voice1=cells) == (
        f"bar 1 4/4\n{row}{found}\n drums kick ..."
    )


def test_rows_as_the_program_writes_them_are_written_so_with_their_columns() -> None:
    block = (
        "  voice 1   C4   -   -   -   # x\n  voice 2   C3   -   -   -\n  drums     kick .   .   ."
    )
    assert rewritten(block, drums=("snare-hat", None, "rim", None)) == (
        "bar 1 4/4\n"
        "  voice 1   C4        -   -   -   # x\n"
        "  voice 2   C3        -   -   -\n"
        "  drums     snare-hat .   rim ."
    )
    assert rewritten(block.replace("voice 2  ", "VOICE 2  "), voice1=(60, 62, HOLD, HOLD)) == (
        "bar 1 4/4\n"
        "  voice 1   C4   D4  -   -   # x\n"
        "  VOICE 2   C3   -   -   -\n"
        "  drums     kick .   .   ."
    )


def test_a_row_that_was_not_typed_is_written_with_its_whole_bar() -> None:
    found = rewritten(" voice 1 C4 - - -   # x", drums=("kick", None, None, None))
    assert found.splitlines() == [
        "bar 1   4/4",
        "  voice 1   C4   -   -   -   # x",
        "  voice 2   .    .   .   .",
        "  drums     kick .   .   .",
    ]


def test_a_bar_as_the_changed_one_stays_so() -> None:
    text = f"{HEAD}bar 1 4/4\n voice 1 C4 - - -\nBAR 2 AS 1 # so\n"
    sheet = parse(text)
    now = replace(sheet, voice1=(60, 62, HOLD, HOLD) * 2)
    assert written_into(text, now) == text.replace("C4 -", "C4 D4", 1)


def test_a_text_with_errors_reads_as_no_sheet() -> None:
    text = f"{HEAD}bar 1 4/4\n voice 1 C4 - - -\n"
    sheet = parse(text)
    assert _reads_as(text, sheet)
    assert not _reads_as(text, replace(sheet, title="Pier"))
    assert not _reads_as(f"{text}bar\n", sheet)
