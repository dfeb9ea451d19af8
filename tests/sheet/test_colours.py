"""Syntax colours: the grammar says of all that a sheet can hold what it is, as the reader does."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from typer.testing import CliRunner

from arranger import Settings, convert, load_engine, read_song
from arranger.cli.app import app
from arranger.sheet import Sheet, format_sheet
from arranger.sheet.form.cells import cell_spans
from arranger.sheet.form.fold_repeats import fold_repeats
from arranger.sheet.form.lexical import without_comment
from arranger.sheet.form.text import HEADER

from .colours import GRAMMAR, coloured, scopes
from .strategies import sheets

DEMO_SONGS = sorted((Path(__file__).parents[2] / "demo_songs").glob("*.mid"))
FIRST_WORDS = {
    "arranger-sheet": "keyword.control.version",
    **dict.fromkeys((*HEADER[:-1], "drum"), "keyword.other.header"),
    **dict.fromkeys(("bar", "bars"), "keyword.control.bar"),
    "voice": "storage.type.voice",
    "drums": "storage.type.drums",
    "generated": "keyword.other.generated",
}
CELLS = {"-": "keyword.operator.hold", ".": "punctuation.silence"}


def check_line(line: str) -> None:
    """Check that each word of a good line has its colour."""
    code, comment = without_comment(line)
    found = scopes(line)
    for character, scope in zip(line, found, strict=True):
        if not character.isspace():
            assert not scope[-1].startswith(("meta", "invalid")), line
    if comment is not None:
        assert {scope[-1] for scope in found[len(code) :]} == {"comment.line.number-sign.duet"}
    word = code.split()[0].lower() if code.split() else ""
    if not word:
        return
    assert found[code.lower().index(word)][-1] == FIRST_WORDS[word] + ".duet", line
    if word in ("voice", "drums"):
        other = "support.function.drum" if word == "drums" else "constant.other.pitch"
        for column, width in cell_spans(code, 3 if word == "drums" else 1):
            cell = slice(column - 1, column - 1 + width)
            name = CELLS.get(code[cell], other)
            assert [scope[-1] for scope in found[cell]] == [name + ".duet"] * width, line


@settings(max_examples=25, deadline=None)
@given(sheets())
def test_all_of_any_sheet_has_its_colour(sheet: Sheet) -> None:
    for line in format_sheet(sheet).split("\n"):
        check_line(line)


@pytest.mark.parametrize("song", DEMO_SONGS, ids=lambda path: path.stem)
def test_all_of_the_sheets_of_the_demo_songs_has_its_colour(song: Path) -> None:
    sheet = convert(read_song(song), load_engine("twin-phase"), Settings()).sheet
    for line in format_sheet(fold_repeats(sheet)).split("\n"):
        check_line(line)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (
            "Bar 5   4/4   14 steps   as 3   section B-\u00fc   loop 3",
            "keyword.control.bar entity.name.tag.bar constant.numeric.metre "
            "keyword.operator.metre constant.numeric.metre constant.numeric.steps "
            "keyword.other.steps keyword.control.as variable.other.bar keyword.control.section "
            "entity.name.section keyword.control.loop constant.numeric.loop",
        ),
        (
            "bars 9-16 as 1-8 loud",
            "keyword.control.bar entity.name.tag.bar keyword.control.as variable.other.bar "
            "invalid.illegal.bar",
        ),
        (
            "voice 1 C-1--|H3.c4# # kick",
            "storage.type.voice storage.type.voice constant.other.pitch keyword.operator.hold "
            "punctuation.separator invalid.illegal.cell punctuation.silence invalid.illegal.cell "
            "comment.line.number-sign",
        ),
        (
            "drums kick.snare-hat.. C#4 hat--",
            "storage.type.drums support.function.drum punctuation.silence support.function.drum "
            "punctuation.silence invalid.illegal.cell invalid.illegal.cell",
        ),
        ("voice 3 C4", " ".join(["invalid.illegal.line"] * 3)),
        ("tempo fast!", "keyword.other.header keyword.other.unit invalid.illegal.number"),
        (
            'title "a # \\u{1f3b5}" # b',
            "keyword.other.header string.quoted.double constant.character.escape "
            "string.quoted.double comment.line.number-sign",
        ),
    ],
)
def test_what_colour_a_word_has(line: str, expected: str) -> None:
    assert [name for _, name in coloured(line)] == expected.split()


def test_the_command_says_where_the_grammar_lies() -> None:
    result = CliRunner().invoke(app, ["check", "--grammar"])
    assert result.exit_code == 0
    assert json.loads(Path(result.stdout.strip()).read_text("utf-8")) == GRAMMAR
