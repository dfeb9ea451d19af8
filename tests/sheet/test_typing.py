"""Typing: cells typed together, and what is answered to those that stand for nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.engine import builtin_engines, load_engine
from arranger.pitch import parse_pitch, pitch_name
from arranger.rows import HOLD, REST
from arranger.sheet.check import check_text
from arranger.sheet.form.cells import cell_spans, read_hits, read_tones
from arranger.sheet.form.meant import DRUMS, drum_remedy, hit_remedy, meant_tone, tone_remedy
from arranger.sheet.form.parse import parse, scan

if TYPE_CHECKING:
    from arranger.sheet.form.header_values import UnknownWord

HEAD = "arranger-sheet 1\nengine twin-phase\nstep 1/2\ntempo 120\nbar 1 4/4\n"


@pytest.mark.parametrize(
    "typed",
    [
        "voice 1 C4--.E4-|..\nvoice 2 ......B3-\ndrums kick..snare-hat|....",
        "voice 1 c4- |-.e4|-..\nvoice 2 ...| ...B3-\ndrums Kick.. snare-hat....",
        "voice 1|C4|-|-|.|E4|-|.|.|\nvoice 2 ......|B3-\ndrums|kick..|snare-hat|....",
    ],
)
def test_cells_may_be_typed_together(typed: str) -> None:
    sheet = parse(HEAD + typed)
    assert sheet.voice1 == (60, HOLD, HOLD, REST, 64, HOLD, REST, REST)
    assert sheet.voice2 == (*((REST,) * 6), 59, HOLD)
    assert sheet.drums == ("kick", None, None, "snare-hat", *((None,) * 4))


tones = st.integers(0, 127).map(pitch_name) | st.sampled_from(["-", ".", "Bb2", "bb3", "f##4"])


@given(st.lists(tones, min_size=1, max_size=12), st.data())
def test_cells_mean_the_same_together_and_apart(cells: list[str], data: st.DataObject) -> None:
    """Only a hyphen that follows a pitch without an octave could be taken for another thing."""
    apart: list[UnknownWord] = []
    between = [data.draw(st.sampled_from(["", " ", "|"])) for _ in cells]
    line = "voice 1 " + "".join(map("".join, zip(cells, between, strict=True)))
    words = line.replace("|", " ").split()
    wanted = [HOLD if c == "-" else REST if c == "." else parse_pitch(c) for c in cells]
    assert read_tones(words, apart) == wanted
    assert not apart
    assert [line[at - 1 : at - 1 + width] for at, width in cell_spans(line, 1)] == cells


hits = st.sampled_from([".", "kick", "snare-hat", "x1-2"])


@given(st.lists(hits, min_size=1, max_size=12), st.data())
def test_drums_need_only_something_between(cells: list[str], data: st.DataObject) -> None:
    line = "drums "
    for before, cell in zip([".", *cells], cells, strict=False):
        free = "." in (before, cell)
        line += data.draw(st.sampled_from(["", " ", "|"] if free else [" ", "|"])) + cell
    faults: list[UnknownWord] = []
    found = read_hits(line.replace("|", " ").split(), {}, faults)
    assert found == [None if cell == "." else cell for cell in cells]
    assert not faults
    assert [line[at - 1 : at - 1 + width] for at, width in cell_spans(line, 3)] == cells


@pytest.mark.parametrize(
    ("row", "column", "width", "told"),
    [
        # columns by hand
        ("voice 1 H4--C4....", 9, 2, "did you mean 'B4'?"),
        ("voice 1 ..B9- ....", 11, 2, "did you mean 'B8'?"),
        ("voice 1 C4E .......", 9, 3, "write one from C-1 to G9"),
        ("voice 1 A3 Cis ......", 12, 3, "did you mean 'C#4'?"),
        ("voice 1 Cis A3......", 9, 3, "did you mean 'C#4'?"),
        ("voice 2 ...... E .", 16, 1, "did you mean 'E2'?"),
        ("voice 1 B.......", 9, 1, "did you mean 'B3'?"),
        ("voice 2 D#.......", 9, 2, "did you mean 'D#2'?"),
        ("drums kick--.....", 11, 2, "did you mean 'kick..'?"),
        ("drums --......", 7, 2, "did you mean '..'?"),
        ("drums ..C#4.....", 9, 3, "is a pitch: did you mean it for a voice?"),
        ("drums kick.Kick.2nd...", 17, 3, "write a name like kick, or ."),
    ],
)
def test_a_fault_among_cells_typed_together_has_its_place(
    row: str, column: int, width: int, told: str
) -> None:
    """The rest of the word is read, so that nothing else is told."""
    (problem,) = scan(HEAD + row).problems
    assert (problem.line, problem.column, problem.width) == (6, column, width)
    assert told in problem.remedy


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        *((text, "B3") for text in ("H3", "h3", "si3", "Ti3", "3B", "B3,", "(B3)", "B_3", "b33")),
        *((text, "C#4") for text in ("c4#", "4C#", "#C4", "Cis4", "do#4", "cis'", "Csharp4")),
        *((text, "C#4") for text in ("C\u266f4", "C#-4", "C#44")),
        *((text, "Eb4") for text in ("Es4", "es'", "mib4", "E4b", "bE4", "E\u266d4", "Eflat4")),
        ("As3", "Ab3"), ("hes2", "Bb2"), ("fisis4", "F##4"), ("geses4", "Gbb4"), ("fx4", "F##4"),
        ("c'", "C4"), ("c''", "C5"), ("c", "C4"), ("C,", "C1"), ("c,", "C2"), ("C'", "C3"),
        ("Cb", "Cb4"), ("G", "G3"), ("A", "A3"), ("Gb-", "Gb3-"), ("H3--Cis4", "B3--C#4"),
        ("C10", "C9"), ("B9", "B8"), ("Cb-1", "Cb0"), ("60", "C4"), ("127", "G9"),
        *((text, ".") for text in ("0", "x", "r", "rest", "Pause", ",", "\u00b7")),
        *((text, "-") for text in ("_", "~", "=", "hold", "tie", "\u2013", "\u2014", "\u2212")),
        ("\u2026", "..."), ("0000", "...."),
    ],
)  # fmt: skip
def test_what_was_meant_by_a_cell_of_a_voice(typed: str, meant: str) -> None:
    assert meant_tone(typed, 60) == meant
    faults: list[UnknownWord] = []
    read_tones(["voice", "1", "C4", typed], faults)
    assert f"did you mean {meant!r}?" in faults[0].remedy or "-" in typed


@pytest.mark.parametrize(
    ("row", "meant"), [("C-1 - D", "D-1"), ("D - C-1", "D-1"), ("D - B5", "D6")]
)
def test_nearby_is_the_tone_before_or_else_the_first(row: str, meant: str) -> None:
    faults: list[UnknownWord] = []
    read_tones(["voice", "1", *row.split()], faults)
    assert f"did you mean {meant!r}?" in faults[0].remedy


def test_a_missing_octave_is_the_nearest_to_what_stands_nearby() -> None:
    assert [meant_tone("C", near) for near in (35, 47, 65, 67, 120)] == [
        "C2", "C3", "C4", "C5", "C9",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [
        ("kik", "did you mean 'kick'? Write it in the row drums"),
        ("Kick", "it is a drum sound: write it in the row drums"),
        ("hihat", "did you mean 'hat'? Write it in the row drums"),
        ("C4/E4", "a voice plays one tone at a time: did you mean 'C4'?"),
        ("V4", "write one from C-1 to G9 like C4, F#3 or Bb2, - to hold, . for silence"),
    ],
)
def test_what_to_do_about_other_words_in_a_voice(typed: str, remedy: str) -> None:
    assert tone_remedy(typed, 60) == remedy


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [
        *((text, "did you mean '.'?") for text in ("0", "_", "=", "\u2013")),
        ("\u2026", "did you mean '...'?"),
        ("1", "did you mean 'kick'?"),
        ("kick+hat", "did you mean 'kick-hat'?"),
        ("hat/snare", "did you mean 'snare-hat'?"),
        ("-kick", "did you mean 'kick'?"),
        ("C\u266f4", "C\u266f4 is a pitch: did you mean it for a voice? Here write a name like kick, or ."),
        ("2nd", "write a name like kick, or ."),
    ],
)  # fmt: skip
def test_what_to_do_about_words_that_are_no_drum(typed: str, remedy: str) -> None:
    assert hit_remedy(typed) == remedy


NAMES = ("kick", "snare", "hat", "hat-open", "kick-hat")


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [
        ("kik", "did you mean 'kick'?"),
        ("bd", "did you mean 'kick'?"),
        ("hat-kick", "did you mean 'kick-hat'?"),
        ("bd-hh", "did you mean 'kick-hat'?"),
        ("x", "did you mean 'snare'?"),
        ("c4", "C4 is a pitch: did you mean it for a voice? Else choose from " + ", ".join(NAMES)),
        ("gong", "choose from " + ", ".join(NAMES)),
    ],
)
def test_what_to_do_about_a_drum_that_is_not_there(typed: str, remedy: str) -> None:
    assert drum_remedy(typed, NAMES, "snare") == remedy


def test_a_hit_without_a_name_is_taken_for_the_usual_drum() -> None:
    problems = check_text(HEAD + "drums x.snare.hat.snare.", load_engine).problems
    assert [problem.remedy for problem in problems] == ["did you mean 'snare'?"]
    assert drum_remedy("x", NAMES, None) == "did you mean 'kick'?"
    assert drum_remedy("x", (), None) == "choose from ."


def test_the_drums_that_are_known_without_an_engine_are_those_of_the_built_in_ones() -> None:
    for name in builtin_engines():
        assert {drum.name for drum in load_engine(name).drums} == set(DRUMS)


@given(st.text(min_size=1, max_size=6), st.integers(0, 127))
def test_whatever_is_typed_what_was_meant_is_a_cell(text: str, near: int) -> None:
    meant = meant_tone(text, near)
    if meant is not None:
        faults: list[UnknownWord] = []
        read_tones(["voice", "1", meant], faults)
        assert not faults
    assert tone_remedy(text, near)
    assert hit_remedy(text)
    assert drum_remedy(text, NAMES, None)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("voice1 C4", "did you mean 'voice 1'?"),
        ("V2: C4", "did you mean 'voice 2'?"),
        ("Vox 1 C4", "did you mean 'voice 1'?"),
        ("drumz kick", "did you mean 'drums'?"),
        ("Bra 3", "did you mean 'bar'?"),
        ("voice 3 C4", "begin with bar, voice 1, voice 2, drums or #"),
        ("C4 - - -", "begin with bar, voice 1, voice 2, drums or #"),
    ],
)
def test_what_a_line_was_probably_meant_to_begin_with(line: str, told: str) -> None:
    (problem,) = scan(f"{HEAD}{line}\n").problems
    assert (problem.code, problem.remedy) == ("unknown-word", told)


def test_above_the_bars_it_is_a_word_of_the_header() -> None:
    (problem,) = scan(HEAD.replace("bar 1", "titel Tide\nbar 1")).problems
    assert problem.remedy == "did you mean 'title'?"
