"""Checking: every problem at once, each at its place."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from arranger.cli.app import app
from arranger.engine import load_engine
from arranger.errors import EngineError, SheetError
from arranger.machine import song_bytes
from arranger.sheet import parse
from arranger.sheet.check import check_text
from arranger.sheet.form import lines
from arranger.sheet.form.parse import scan
from arranger.sheet.form.problem import shown

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.engine.model import Engine
    from arranger.sheet import Sheet

# An engine of our own for the test: the built-in one, with C3 to C5 and two drum sounds that take
# their steps whole.
BUILT_IN = load_engine("twin-phase")
ENGINE = replace(
    BUILT_IN,
    name="small",
    pitches={midi: p for midi, p in BUILT_IN.pitches.items() if 48 <= midi <= 72},
    drums=tuple(drum for drum in BUILT_IN.drums if drum.name in ("kick", "snare")),
    drum_takes_step=True,
)
LENGTH = ENGINE.nearest_step_length(0.25).setting

HEAD = f"""\
arranger-sheet 1
title     Test
engine    small
step      1/2 beat
length    {LENGTH}
"""


def load(name: str) -> Engine:
    if name != "small":
        raise EngineError(f"there is no engine {name!r}", remedy="arranger engines lists them")
    return ENGINE


def found(text: str) -> list[tuple[str, str, int, int, int]]:
    """Return severity, code, line, column and width of each problem."""
    return [problem[:5] for problem in check_text(text, load).problems]


GOOD = HEAD + (
    "bar 1 2/4\n  voice 1   C4  -   .   E4\n  voice 2   .   .   C3  -\n  drums     .   kick .  .\n"
)


def test_a_good_sheet_has_no_problem() -> None:
    checked = check_text(GOOD, load)
    assert (checked.problems, checked.bars, checked.steps) == ([], 1, 4)


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        # columns counted by hand in the line "  voice 1   C4  -   .   E4": cells at 13, 17, 21, 25
        ("  voice 1   C4  -   .   H4\n", ("error", "unknown-pitch", 7, 25, 2)),
        ("  voice 1   C4  -   .   C#5\n", ("error", "outside-pitch-table", 7, 25, 3)),
        ("  voice 1   C4  -   .   B2\n", ("error", "outside-pitch-table", 7, 25, 2)),
        ("  voice 1   C4  -   .   E4  F4\n", ("error", "wrong-steps", 7, 29, 2)),
        ("  voice 1   C4  -   .\n", ("error", "wrong-steps", 7, 23, 1)),
        ("  voice 1   C4  -   .   -\n", ("warning", "hold-nothing", 7, 25, 1)),
        ("  voice 1   C4  .   E4  E4\n", ("warning", "no-attack", 7, 25, 2)),
        ("  voice 1   C4  E4  .   .\n", ("warning", "tone-unheard", 7, 17, 2)),
        ("  voice 3   C4  E4  .   .\n", ("error", "unknown-word", 7, 3, 5)),
        ("  drums     .   .   .   .\n", ("error", "twice", 9, 1, 1)),
    ],
)
def test_a_problem_in_a_row_has_its_place(
    row: str, expected: tuple[str, str, int, int, int]
) -> None:
    lines = GOOD.splitlines(keepends=True)
    lines[6] = row
    assert expected in found("".join(lines))


def test_where_no_octave_fits_the_nearest_pitch_is_proposed() -> None:
    few = replace(ENGINE, pitches={60: ENGINE.pitches[60], 64: ENGINE.pitches[64]})
    text = GOOD.replace("C4  -   .   E4", "C4  -   .   D#5").replace("C3", "C4")
    (problem,) = check_text(text, lambda _name: few).problems
    assert problem.remedy == "write E4"


def test_the_lowest_pitch_is_a_tone_too() -> None:
    lowest = GOOD.replace("C4  -   .   E4", "C-1 -   .   E4")
    assert [problem[1] for problem in found(lowest)] == ["outside-pitch-table"]


@pytest.mark.parametrize(
    ("drums", "expected"),
    [
        ("  drums     .   kikc .  .\n", ("error", "unknown-drum", 9, 17, 4)),
        ("  drums     .   kick -  .\n", ("error", "drum-held", 9, 22, 1)),
        ("  drums     .   2x   .  .\n", ("error", "drum-name", 9, 17, 2)),
    ],
)
def test_a_problem_of_a_drum_has_its_place(
    drums: str, expected: tuple[str, str, int, int, int]
) -> None:
    lines = GOOD.splitlines(keepends=True)
    lines[8] = drums
    assert found("".join(lines)) == [expected]


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ("C4  E4  .   .", "E4 is never heard: a drum silences both voices on its step"),
        ("C4  E4  -   .", "E4 is never heard: a drum silences both voices on all its steps"),
    ],
)
def test_a_tone_under_drums_alone_is_told_with_its_steps(cells: str, told: str) -> None:
    text = GOOD.replace("C4  -   .   E4", cells).replace(".   kick .  .", ".   kick kick .")
    assert [problem.what for problem in check_text(text, load).problems] == [told]


def test_a_tone_that_only_starts_under_a_drum_is_fine() -> None:
    lines = GOOD.replace("C4  -   .   E4", ".   C4  -   -")
    assert found(lines) == []


def test_a_repeated_tone_is_heard_again_after_a_drum() -> None:
    """The drum on step 2 silences both voices, so C4 on step 3 starts audibly."""
    assert found(GOOD.replace("C4  -   .   E4", "C4  -   C4  -")) == []


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("engine    small", "engine    other", ("error", "engine", 3, 11, 5)),
        (f"length    {LENGTH}", "length    1", ("error", "length", 5, 11, 1)),
        (f"length    {LENGTH}", "length    fast", ("error", "length", 5, 11, 4)),
        ("step      1/2 beat", "step      half a beat", ("error", "step", 4, 11, 11)),
        ("title     Test", 'title     "Test', ("error", "quotes", 2, 11, 5)),
        ("title     Test", "tempo     1e999", ("error", "tempo", 2, 11, 5)),
        ("title     Test", "tempo     0", ("error", "tempo", 2, 11, 1)),
        ("title     Test", "tempo     10 beats a minute", ("warning", "tempo", 2, 11, 17)),
        ("arranger-sheet 1", "arranger-sheet 2", ("error", "version", 1, 16, 1)),
        ("arranger-sheet 1", "arranger-sheet", ("error", "version", 1, 1, 14)),
        ("arranger-sheet 1", "a tune", ("error", "no-sheet", 1, 1, 1)),
        ("bar 1 2/4", "bar 1 2/0", ("error", "metre", 6, 7, 3)),
        ("bar 1 2/4", "bar 1 2/4 slowly", ("error", "bar-line", 6, 11, 6)),
        ("bar 1 2/4", "bar 1 2/4 loop 5", ("error", "loop", 6, 1, 1)),
        ("bar 1 2/4", "bar 1 5/16", ("error", "bar-steps", 6, 1, 1)),
        ("engine    small\n", "", ("error", "no-engine", 1, 1, 1)),
    ],
)
def test_a_problem_above_the_rows_has_its_place(
    old: str, new: str, expected: tuple[str, str, int, int, int]
) -> None:
    assert old in GOOD
    assert expected in found(GOOD.replace(old, new))


@pytest.mark.parametrize(("rows", "steps"), [("", 4), ("  voice 1   C4  -   .\n", 3)])
def test_a_bar_that_steps_do_not_fill_is_told_to_say_how_many_it_has(rows: str, steps: int) -> None:
    (problem,) = check_text(f"{HEAD}bar 1 5/16\n{rows}", load).problems[:1]
    assert problem.what == "steps of 1/2 beat don't fill a bar of 5/16"
    assert problem.remedy == f"write how many it has, such as 5/16   {steps} steps"


def test_a_sheet_of_more_than_the_most_steps_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where only its last bar is too much; what follows isn't read."""
    monkeypatch.setattr(lines, "MAX_STEPS", 4)
    assert found(GOOD) == []
    bars = [f"bar {number} 1/4\n  voice 1   C4  -\n" for number in (2, 3)]
    for more in (bars[0], bars[0] + bars[1] + "bar x\n"):
        (problem,) = check_text(GOOD + more, load).problems
        assert (problem.code, problem.line, problem.remedy) == ("too-long", 12, "split the piece")


def test_a_sheet_says_how_fast_it_plays() -> None:
    (problem,) = check_text(GOOD.replace(f"length    {LENGTH}\n", ""), load).problems
    assert problem[:3] == ("error", "no-tempo", 1)
    assert problem.remedy == "write how fast it plays into the header, like tempo 120"
    assert found(GOOD.replace(f"length    {LENGTH}", "tempo     150")) == []


def test_a_tempo_that_the_engine_misses_by_three_percent_is_told() -> None:
    """With one step length of 0.2 s, half a beat: 150 beats a minute."""
    (entry,) = (e for e in ENGINE.step_lengths if e.setting == LENGTH)
    few = replace(ENGINE, step_lengths=(entry._replace(seconds=0.2),))
    for tempo, told in (("145.6", False), ("145.4", True), ("154.4", False), ("154.6", True)):
        text = GOOD.replace(f"length    {LENGTH}", f"tempo     {tempo}")
        problems = check_text(text, lambda _name: few).problems
        assert [p[:5] for p in problems] == [("warning", "tempo", 5, 11, len(tempo))] * told
        assert [p.what for p in problems] == [
            f"the nearest to tempo {tempo} that small plays is 150.00"
        ] * told


@pytest.mark.parametrize(
    ("lines", "remedy"),
    [
        (f"length    {LENGTH + 1}", f"the nearest is {LENGTH}"),
        (
            "length    99999",
            "write tempo instead, like tempo 120: the length may be another engine's",
        ),
        (
            "length    99999\ntempo     96",
            "take the line length away: tempo 96 says how fast it plays",
        ),
    ],
)
def test_a_length_that_the_engine_has_not_is_answered_with_what_is_near(
    lines: str, remedy: str
) -> None:
    (problem,) = check_text(GOOD.replace(f"length    {LENGTH}", lines), load).problems
    assert (problem.code, problem.remedy) == ("length", remedy)


def test_all_problems_come_at_once_and_in_order() -> None:
    text = GOOD.replace("C4  -   .   E4", "H4  -   .   C7").replace("kick", "tock")
    assert found(text + "bar 1\n") == [
        ("error", "unknown-pitch", 7, 13, 2),  # what is held after it is no second problem
        ("error", "outside-pitch-table", 7, 25, 2),
        ("error", "unknown-drum", 9, 17, 4),
        ("warning", "bar-order", 10, 1, 3),
    ]


def test_a_row_outside_a_bar_is_told_and_its_words_are_kept() -> None:
    stray = GOOD.replace("bar 1", "drums kick # mine\nbar 1")
    assert found(stray) == [("error", "row-outside", 6, 1, 1)]
    assert [comment.text for comment in scan(stray).sheet.comments] == ["mine"]


def test_a_piece_that_is_too_long_for_memory_is_told_from_the_bar_on() -> None:
    """A player of so many bytes leaves room for the song data of the first bar, not of two."""
    bars = [GOOD, "bar 2\n  voice 1   D4 F4 D4 F4\n", "bar 3\n  voice 1   G4 D4 G4 D4\n"]
    sheets = [parse("".join(bars[:count])) for count in (1, 2, 3)]
    first, second, third = (song_bytes(sheet, ENGINE) for sheet in sheets)
    assert first < second < third
    small = replace(ENGINE, memory_bytes=ENGINE.code_bytes + second - 1)
    checked = check_text("".join(bars), lambda _name: small, song_bytes)
    assert [problem[:5] for problem in checked.problems] == [("error", "memory", 10, 1, 3)]
    enough = replace(ENGINE, memory_bytes=ENGINE.code_bytes + third)
    assert check_text("".join(bars), lambda _name: enough, song_bytes).problems == []

    def numbered(sheet: Sheet, engine: Engine) -> int:
        if len(sheet.bars) > 2:
            raise SheetError("has too many parts")
        return song_bytes(sheet, engine)

    beyond = check_text("".join(bars), lambda _name: enough, numbered).problems
    assert [problem[:4] for problem in beyond] == [("error", "memory", 12, 1)]


def test_a_caret_stands_under_the_place() -> None:
    checked = check_text(GOOD.replace("C4  -   .   E4", "C4\t-   .   H4"), load)
    (problem,) = checked.problems
    assert shown(problem, "x.duet", checked.lines) == (
        "x.duet:7:24: error: 'H4' is no pitch\n"
        "      voice 1   C4\t-   .   H4\n"
        "                  \t        ^^\n"
        "    did you mean 'B4'?"
    )


def test_a_long_line_is_cut_around_the_caret() -> None:
    checked = check_text(GOOD.replace("C4  -   .   E4", "C4 " + " " * 5000 + "- . H4"), load)
    head, line, caret, _remedy = shown(checked.problems[0], "x", checked.lines).split("\n")
    assert "5020" in head
    assert len(line) <= 104
    assert line[caret.index("^") :].startswith("H4")


def test_the_command_tells_scripts_by_its_exit_code(tmp_path: Path) -> None:
    good, bad = tmp_path / "good.duet", tmp_path / "bad.duet"
    good.write_text(GOOD.replace("small", "twin-phase"))
    bad.write_text(GOOD.replace("small", "twin-phase").replace("E4", "H4"))
    run = CliRunner().invoke
    assert run(app, ["check", str(good)]).exit_code == 0
    result = run(app, ["check", "--json", str(good), str(bad), str(tmp_path / "none.duet")])
    assert result.exit_code == 1
    sheets = json.loads(result.stdout)["sheets"]
    assert [sheet["errors"] for sheet in sheets] == [0, 1, 1]
    assert "can't be read" in sheets[2]["unreadable"]
    assert sheets[1]["problems"][0]["code"] == "unknown-pitch"


def test_a_row_of_nothing_but_mistakes_is_read_in_one_go() -> None:
    """100,000 mistakes: what is listed is bounded, the time doesn't grow by the square."""
    checked = check_text(GOOD.replace("C4  -   .   E4", "x " * 100_000), load)
    assert 1000 <= checked.errors <= 1010
    assert checked.problems[0][:5] == ("error", "unknown-pitch", 7, 13, 1)


WORDS = (GOOD + "\nbars 2-3 as 1-2 section A \nbar loop H4 x kick--").split(" ")


@settings(max_examples=100, deadline=None)
@given(st.text() | st.lists(st.sampled_from(WORDS)).map(" ".join))
def test_no_text_makes_the_checker_fail(text: str) -> None:
    checked = check_text(text, load)
    for problem in checked.problems:
        assert shown(problem, "x", checked.lines).count("\n") == 3
        assert problem.remedy


def test_a_drum_that_is_like_none_gets_the_list_to_choose_from() -> None:
    (problem,) = check_text(GOOD.replace("kick", "gong"), load).problems
    assert problem.remedy == "choose from kick, snare"
    (problem,) = check_text(GOOD.replace("kick", "kikc"), load).problems
    assert problem.remedy == "did you mean 'kick'?"


@pytest.mark.parametrize(
    ("share", "told"), [(0.004, False), (-0.004, False), (0.006, True), (-0.006, True)]
)
def test_a_tempo_may_be_off_by_half_a_percent(share: float, told: bool) -> None:
    entry = next(each for each in ENGINE.step_lengths if each.setting == LENGTH)
    played = 30.0 / entry.seconds
    text = GOOD.replace("title     Test", f"tempo     {played * (1 + share):.6f}")
    assert [code for _, code, *_ in found(text)] == (["tempo"] if told else [])


@pytest.mark.parametrize("text", ["", "\n", "\ufeff  \r\n\r\n"])
def test_an_empty_file_is_one_error(text: str) -> None:
    checked = check_text(text, load)
    assert [problem.what for problem in checked.problems] == ["is empty"]
