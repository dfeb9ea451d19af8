"""The mark in a MIDI file: read back as written, and harmless when damaged."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.settings import Settings
from arranger.sheet import SheetBar
from arranger.sheet.mark import MARK, find_mark, mark_lines
from arranger.sheet.midi import to_midi
from arranger.song import read_song_bytes
from arranger.song.model import Mark, Song

from .strategies import sheets
from .test_midi import SMALL

if TYPE_CHECKING:
    from arranger.sheet import Sheet


@cache
def song() -> Song:
    return read_song_bytes(to_midi(SMALL, load_engine("twin-phase")), "x.mid")


def marked(*lines: str) -> Song:
    return replace(song(), marks=tuple(Mark(0, "text", line) for line in lines))


@settings(max_examples=20)
@given(sheets(commented=False))
def test_the_mark_of_any_sheet_is_read_back(sheet: Sheet) -> None:
    names = sorted({name for name in sheet.drums if name})
    keys = {name: key for key, name in enumerate(names, 35)}
    lines = mark_lines(sheet, keys)
    found = find_mark(marked(*lines))
    assert found is not None
    assert (found.title, found.engine) == (sheet.title, sheet.engine)
    assert found.step_beats == sheet.step_beats
    assert (found.tempo, found.length) == (sheet.tempo, sheet.length)
    assert (found.loop_step, found.bars) == (sheet.loop_step, sheet.bars)
    assert found.drums == {key: name for name, key in keys.items()}
    assert all(line.isascii() and "\n" not in line for line in lines)


def test_a_voice_of_the_sheet_speaks_for_the_role_that_it_has() -> None:
    roles = convert(song(), load_engine("twin-phase"), Settings()).reduction.roles
    found = {role.role: (role.tune_score, role.bass_score) for role in roles}
    assert found == {"tune": (1, 0), "bass": (0, 1), "drums": (0, 0)}


def test_runs_of_bars_that_count_on_take_a_word() -> None:
    """Bars 1 to 3 and 4, 3 of other metres; the second and third are as those before, so is the last."""
    heads = ((1, 4, None), (2, 4, 0), (3, 4, 1), (4, 3, None), (3, 3, 3))
    bars = tuple(SheetBar(number, steps, steps, 4, other) for number, steps, other in heads)
    said = " ".join(mark_lines(replace(SMALL, bars=bars), {})).split()
    assert "bars=1*3:4/4:4,4:3/4:3,3:3/4:3" in said
    assert "as=1*2:0,4:3" in said


@pytest.mark.parametrize(
    "line",
    [
        "step=0/4 length=12 bars=1:4/4:16",
        "step=1/0 length=12 bars=1:4/4:16",
        "step=1/4 bars=1:4/4:16",
        "step=1/4 tempo=fast bars=1:4/4:16",
        "step=1/4 tempo=120 length=-1 bars=1:4/4:16",
        "step=1/4 length=12 bars=1:0/4:16",
        "step=1/4 length=12 bars=1:4/0:16",
        "step=1/4 length=12 bars=1*250000:4/4:16,1:4/4:16",
        "step=1/4 length=12",
        "step=1/4 length=12 bars=1:4/4",
        "step=1/4 length=12 bars=1:4/4:0",
        "step=1/4 length=12 bars=1*999999:4/4:16",
        "step=1/4 length=12 bars=1:4/4:16 loop=16",
        "step=1/4 length=12 bars=1:4/4:16 drums=kick",
        "step=1/4 length=12 bars=1:4/4:16 title=%ff",
    ],
)
def test_a_damaged_mark_is_none(line: str) -> None:
    good = "step=1/4 length=12 bars=1:4/4:16 loop=15 drums=kick:36"
    assert find_mark(marked(MARK + good)) is not None
    assert find_mark(marked(MARK + line)) is None


@pytest.mark.parametrize(
    ("said", "as_bars", "sections"),
    [
        ("", [None] * 4, [""] * 4),
        ("as=1*3:0 sections=0:A,3:B%C3%BC", [None, 0, 1, 2], ["A", "", "", "B\u00fc"]),
        ("as=0:0,1:1,2:3,x,3*9:1,4:0 sections=4:A,-1:B,1:2nd,:,2:", [None] * 3 + [1], [""] * 4),
    ],
)
def test_bars_as_others_and_sections_that_cannot_be_are_passed_over(
    said: str, as_bars: list[int | None], sections: list[str]
) -> None:
    found = find_mark(marked(f"{MARK}step=1/4 length=12 bars=1*4:4/4:16 {said}"))
    assert found is not None
    assert [bar.as_bar for bar in found.bars] == as_bars
    assert [bar.section for bar in found.bars] == sections


words = st.from_regex(
    r"(step|length|bars|drums|loop|title|as|sections|x)=[0-9:/*,a-z%-]{0,12}", fullmatch=True
)


@settings(max_examples=20)
@given(st.lists(st.lists(words | st.text(max_size=5)).map(lambda found: MARK + " ".join(found))))
def test_no_mark_makes_the_reader_fail(lines: list[str]) -> None:
    find_mark(marked(*lines))
