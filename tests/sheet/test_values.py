"""What words of a sheet stand for, at the edges of what is allowed."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from arranger.rows import HOLD, REST
from arranger.sheet import SheetBar, write_sheet
from arranger.sheet.compare import compare_files
from arranger.sheet.form.bar_line import BarLine, read_bar_line
from arranger.sheet.form.cells import MOST_FAULTS, read_hits, read_tones
from arranger.sheet.form.header_values import (
    UnknownWord,
    read_length,
    read_sound,
    read_step,
    read_tempo,
)  # fmt: skip
from tests.sheet.test_compare import LEFT, RIGHT

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


@pytest.mark.parametrize(
    ("read", "text", "value"),
    [
        (read_step, "1/4 beat", Fraction(1, 4)),
        (read_step, "3 / 8", Fraction(3, 8)),
        (read_step, "1 beat", 1),
        (read_step, "2", 2),
        (read_length, "0", 0),
        (read_length, "2000", 2000),
        (read_tempo, "0.001", 0.001),
        (read_tempo, "100000", 100_000),
        (read_tempo, "120.5 beats a minute", 120.5),
        (read_tempo, "1.2e2", 120),
    ],
)
def test_a_value_of_the_header(read: Callable[[str], object], text: str, value: object) -> None:
    assert read(text) == value


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        ("1 H C-1", "B-1"), ("1 C C-1", "C-1"), ("1 C C9", "C9"), ("1 F#4 C G9", "C4"),
        ("1 - C - C6", "C6"), ("2 E", "E2"), ("1 C", "C4"), ("1 B . . C4", "B3"),
    ],
)  # fmt: skip
def test_a_letter_alone_is_meant_near_the_tone_before_or_else_the_first_after(
    words: str, meant: str
) -> None:
    faults: list[UnknownWord] = []
    read_tones(["voice", *words.split()], faults)
    assert [fault.remedy for fault in faults] == [f"did you mean {meant!r}?"]


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (read_step, "0"), (read_step, "1/0"), (read_step, "0/4"), (read_step, "1/4 bar"),
        (read_step, "-1/4"), (read_length, "1.5"), (read_length, ""), (read_tempo, "0.0009"),
        (read_tempo, "100001"), (read_tempo, "fast"),
    ],
)  # fmt: skip
def test_what_is_no_value_of_the_header(read: Callable[[str], object], text: str) -> None:
    with pytest.raises(UnknownWord):
        read(text)


@pytest.mark.parametrize(
    ("text", "microseconds"),
    [
        ("rest for 0.001 ms", 1),
        ("rest for 0.5 ms", 500_000 // 1000),
        ("rest for 12.34 ms", 12_340),
        ("rest for 10000 ms", 10_000_000),
        ("rest", 0),
    ],
)
def test_how_long_a_part_of_a_sound_lasts(text: str, microseconds: int) -> None:
    assert read_sound(f"x1: {text}").parts[0].microseconds == microseconds


@pytest.mark.parametrize("text", ["rest for 0 ms", "rest for 0.000 ms", "rest for 10000.001 ms"])
def test_a_part_of_a_sound_lasts_a_thousandth_to_ten_seconds(text: str) -> None:
    with pytest.raises(UnknownWord, match=r"lasts no time|last so long"):
        read_sound(f"x1: {text}")


BEFORE = SheetBar(7, 12, 6, 8)


@pytest.mark.parametrize(
    ("line", "alone", "after"),
    [
        ("bar", (1, 1), (8, 8)),
        ("bar 3", (3, 3), (3, 3)),
        ("bar -2 3/4", (-2, -2, (3, 4)), (-2, -2, (3, 4))),
        ("bar 5 steps", (1, 1, None, 5), (8, 8, None, 5)),
        ("bar 1 step", (1, 1, None, 1), (8, 8, None, 1)),
        ("bar 5 9 steps loop", *[(5, 5, None, 9, None, "", 1)] * 2),
        ("bar 2/4 loop 3", (1, 1, (2, 4), None, None, "", 3), (8, 8, (2, 4), None, None, "", 3)),
        ("bar 9 1/1 0 Steps LOOP 0", *[(9, 9, (1, 1), 0, None, "", 0)] * 2),
        ("bar 5 loop 2 section A", *[(5, 5, None, None, None, "A", 2)] * 2),
        ("bar as -3", (1, 1, None, None, (-3, -3)), (8, 8, None, None, (-3, -3))),
        ("bars 9-16 AS 1-8 loop 2", *[(9, 16, None, None, (1, 8), "", 2)] * 2),
        ("bar -3--2 loop as -9--8", *[(-3, -2, None, None, (-9, -8), "", 1)] * 2),
        ("bar 5 loop section Brücke-2", *[(5, 5, None, None, None, "Brücke-2", 1)] * 2),
    ],
)
def test_what_a_bar_line_says(line: str, alone: tuple[object], after: tuple[object]) -> None:
    assert read_bar_line(line.split(), None) == BarLine(*alone)  # type: ignore[arg-type]
    assert read_bar_line(line.split(), BEFORE) == BarLine(*after)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("bar 1 0/4", 2), ("bar 4/0", 1), ("bar 0/0", 1), ("bar 1 2", 2), ("bar 1 4/4 16 beats", 3),
        ("bar 1 4/4 loop 2 3", 5), ("bar x", 1), ("bar 1 loop two", 3), ("bar 1 as", 2),
        ("bar 1 as 1 as 2", 4), ("bar 1 as one", 2), ("bar 2 section", 2), ("bar 2 section 2", 2),
        ("bars 3-4", 1), ("bars 4-3 as 1-2", 1), ("bars 3-4 as 2-1", 3), ("bars 3-4 as 1", 3),
        ("bar 3 as 1-2", 3), ("bar 3 4/4 section A section B", 5), ("bar 5 loop loop", 3),
    ],
)  # fmt: skip
def test_what_a_bar_line_cannot_say_has_its_word(line: str, word: int) -> None:
    with pytest.raises(UnknownWord) as raised:
        read_bar_line(line.split(), BEFORE)
    assert raised.value.word == word


def test_words_of_rows_one_by_one() -> None:
    faults: list[UnknownWord] = []
    words = "voice 1 C-1 G9 B9 c#4 Bb2 -.- C4 H2 ."
    cells = [0, 127, REST, 61, 46, HOLD, REST, HOLD, 60, REST, REST]
    assert read_tones(words.split(), faults) == cells
    assert [(fault.code, fault.word) for fault in faults] == [
        ("unknown-pitch", at) for at in (4, 9)
    ]
    known: dict[str, str | None] = {".": None}
    faults = []
    hits = read_hits(["drums", "Kick", "...", "-.", "2x", "kick"], known, faults)
    assert hits == ["kick", None, None, None, None, None, None, "kick"]
    assert [(fault.code, fault.word) for fault in faults] == [("drum-held", 3), ("drum-name", 4)]
    assert known == {".": None, "Kick": "kick", "kick": "kick"}


def test_only_so_many_faults_of_a_line_are_listed() -> None:
    faults: list[UnknownWord] = []
    read_tones(["voice", "1", *["H2"] * (MOST_FAULTS + 3)], faults)
    assert [fault.word for fault in faults] == list(range(2, MOST_FAULTS + 2))


@pytest.mark.parametrize(
    ("source", "known"),
    [
        ({"sha256": "a" * 64, "ticks_per_beat": 480, "tracks": []}, True),
        ({"sha256": "b" * 64, "ticks_per_beat": 480, "tracks": []}, False),
        (["sha256"], False),
    ],
)
@pytest.mark.parametrize("beside", ["left", "right"])
def test_a_ledger_tells_of_notes_if_it_is_of_the_sheets_song(
    source: object, known: bool, beside: str, tmp_path: Path
) -> None:
    for name, sheet in (("left", LEFT), ("right", RIGHT)):
        write_sheet(replace(sheet, source_sha256="a" * 64), tmp_path / f"{name}.duet")
    ledger = {"format": "arranger-ledger", "source": source, "notes": []}
    (tmp_path / f"{beside}.ledger.json").write_text(json.dumps(ledger), "utf-8")
    found = compare_files(tmp_path / "left.duet", tmp_path / "right.duet")
    assert found.with_song == known
