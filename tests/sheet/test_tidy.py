"""Tidying: roughly typed sheets get their columns; nothing else changes."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.errors import SheetError
from arranger.sheet import Sheet, format_sheet, parse
from arranger.sheet.tidy import tidied, tidy_file, tidy_text

from .strategies import sheets

if TYPE_CHECKING:
    from pathlib import Path

ROUGH = """\
arranger-sheet 1
# typed on the ferry
title Low tide   # working title
engine   twin-phase
step 1/4
length 2000

# here the tune begins
BAR 1 4/4
voice 1 g4 - a4 .|b4 ---|d5 - Cb5 -|Bb4--- # lovely
# the bass waits
  drums kick ... snare ...|........
voice 2 ................
# to be checked

bar
  voice 1 C#5 - - - | - - - . | . . . . | . . . .
bar 9   3/4   loop 5
bar 10 7 steps
  voice 2 C3 D3 E3 F3 G3 A3 B3
# the end
"""

TIDY = """\
arranger-sheet 1
# typed on the ferry
title     Low tide   # working title
engine    twin-phase
step      1/4 beat
length    2000

# here the tune begins
bar 1   4/4
  voice 1   G4   -   A4  .   | B4    -   -   -   | D5  -   B4  -   | A#4 -   -   -   # lovely
  voice 2   .    .   .   .   | .     .   .   .   | .   .   .   .   | .   .   .   .
  # the bass waits
  drums     kick .   .   .   | snare .   .   .   | .   .   .   .   | .   .   .   .
  # to be checked

bar 2   4/4
  voice 1   C#5 -   -   -   | -   -   -   .   | .   .   .   .   | .   .   .   .
  voice 2   .   .   .   .   | .   .   .   .   | .   .   .   .   | .   .   .   .
  drums     .   .   .   .   | .   .   .   .   | .   .   .   .   | .   .   .   .

bar 9   3/4   loop 5
  voice 1   .   .   .   .   | .   .   .   .   | .   .   .   .
  voice 2   .   .   .   .   | .   .   .   .   | .   .   .   .
  drums     .   .   .   .   | .   .   .   .   | .   .   .   .

bar 10  3/4   7 steps
  voice 1   .   .   .   .   | .   .   .
  voice 2   C3  D3  E3  F3  | G3  A3  B3
  drums     .   .   .   .   | .   .   .
  # the end
"""


def test_a_roughly_typed_sheet_gets_its_columns() -> None:
    """Expected text set by hand from the grammar."""
    assert [line.rstrip() for line in tidy_text(ROUGH).split("\n")] == [
        line.rstrip() for line in TIDY.split("\n")
    ]


def test_tidying_twice_changes_nothing_more() -> None:
    once = tidy_text(ROUGH)
    assert tidy_text(once) == once


def roughen(rng: random.Random, text: str) -> str:
    """Return the text as a hurried hand might have typed it."""
    lines = []
    for line in text.split("\n"):
        typed = line
        if line.lstrip().startswith(("voice", "drums")):
            words = line.replace("|", rng.choice(["", "|", " | "])).split()
            label = 1 if words[0] == "drums" else 2
            typed = "".join(word + " " * rng.randint(1, 5) for word in words[label:])
            if rng.random() < 0.5:
                typed = re.sub(r" *\. *", ".", typed)
            typed = " ".join((*words[:label], typed))
            typed = rng.choice(["", "\t", "    "]) + typed
        elif not line.startswith(("#", "  #")):
            typed = line + " " * rng.randint(0, 2)
        lines.append(typed)
    return rng.choice(["\n", "\r\n"]).join(lines)


@settings(max_examples=40)
@given(sheets(commented=False), st.integers(0, 2**32).map(random.Random))
def test_rough_typing_means_the_same_sheet(sheet: Sheet, rng: random.Random) -> None:
    sheet = tidied(sheet).sheet
    text = format_sheet(sheet)
    assert parse(roughen(rng, text)) == sheet
    assert tidy_text(roughen(rng, text)) == text


def test_a_sheet_with_an_error_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    wrong = ROUGH.replace("Bb4---", "Hb4---")
    path.write_text(wrong)
    with pytest.raises(SheetError, match=r"x\.duet: line 10, column 37: 'Hb4' is no pitch"):
        tidy_file(path)
    assert path.read_text() == wrong


def test_the_file_is_tidied_in_its_place(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    path.write_text(ROUGH)
    assert tidy_file(path, write=False) == ()
    assert path.read_text() == ROUGH
    assert tidy_file(path) == ()
    assert tidy_file(path) is None
    assert path.with_name("x.duet~").read_text() == ROUGH


@settings(max_examples=60)
@given(st.integers(0, 2**32).map(random.Random))
def test_comments_are_kept_wherever_they_are_typed(rng: random.Random) -> None:
    """Comments and blank lines are put in and taken out at random lines of a good sheet."""
    lines = [line.partition("   # ")[0] for line in TIDY.split("\n")]
    lines = [line for line in lines if not line.lstrip().startswith("#")]
    music = parse("\n".join(lines))
    typed: list[str] = []
    for number in range(rng.randint(1, 10)):
        at = rng.randrange(1, len(lines) + 1)
        kind = rng.choice(("own line", "beside", "blank", "no blank"))
        comment = f"comment {number}"
        if kind == "own line":
            lines.insert(at, rng.choice(("", "  ", "\t")) + f"# {comment}")
            typed.append(comment)
        elif kind == "blank":
            lines.insert(at, "")
        elif at < len(lines) and kind == "no blank" and not lines[at]:
            del lines[at]
        elif at < len(lines) and kind == "beside" and lines[at] and "comment" not in lines[at]:
            lines[at] += f"  # {comment}"
            typed.append(comment)
    found = parse("\n".join(lines))
    tidied = tidy_text("\n".join(lines))
    assert sorted(comment.text for comment in found.comments) == sorted(typed)
    assert sorted(comment.text for comment in parse(tidied).comments) == sorted(typed)
    assert tidy_text(tidied) == tidied
    assert replace(found, comments=()) == music
