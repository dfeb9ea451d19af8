"""Bad engine files are refused with the line, the reason and what to do."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.conversion import convert
from arranger.engine import builtin_engines, load_engine, parse_engine
from arranger.engine.create import new_engine
from arranger.engine.describe import engine_lines, engine_values
from arranger.errors import EngineError, OutputError
from arranger.report import summary
from arranger.settings import Settings
from arranger.song import read_song

DEMO = Path(__file__).parents[2] / "demo_songs" / "lighthouse_stairs.mid"

GOOD = """\
format = "arranger-engine"
version = 1
name = "mine"
title = "Mine"
method = "counter"
clock_hz = 3_500_000

[loop]
cycles = 120
voice1_write = 0
voice2_write = 60

[pitch]
lowest = "C2"
highest = "C5"
bits = 8

[steps]
first = 8
last = 200
passes_per_count = 128

[memory]
code_bytes = 200
total_bytes = 4_096

[[drum]]
name = "kick"
kind = "kick"
percussion_keys = [35, 36]
weight = 1.0
settings = [9000, 1100]

[[drum]]
name = "snare"
kind = "noise"
percussion_keys = [38]
weight = 0.9
settings = [420]
"""


def test_the_good_file_is_good() -> None:
    assert parse_engine(GOOD).drum_for(38) is not None


def test_a_drum_may_go_on_with_another_part_and_join_others() -> None:
    text = (
        GOOD
        + """
[[drum]]
name = "both"
kind = "kick"
percussion_keys = []
weight = 1.0
settings = [9000, 1100]
cycles = 60_000
then = [{ kind = "noise", settings = [420], cycles = 50_000 }]
joins = ["kick", "snare"]
"""
    )
    both = parse_engine(text).drums[-1]
    assert both.parts == (("kick", (9000, 1100), 60_000), ("noise", (420,), 50_000))
    assert both.cycles == 110_000
    assert both.joins == ("kick", "snare")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("cycles = 120", "cyclse = 120", r"line 9: unknown key 'cyclse'.*did you mean 'cycles'"),
        ('title = "Mine"', "", "title is missing"),
        ("clock_hz = 3_500_000", 'clock_hz = "fast"', "line 6: clock_hz can't be 'fast'.*integer"),
        ("clock_hz = 3_500_000", "clock_hz = ", "line 6"),
        ('"counter"', '"bells"', "line 5: method can't be 'bells'.*'phase'"),
        ('name = "mine"', 'name = "new"', "line 3: an engine can't be called 'new'"),
        ('name = "mine"', 'name = "a\\nb"', r"line 3: name can't be 'a\\nb'"),
        ("voice2_write = 60", "voice2_write = 120", "line 11: .*voice2_write < 120"),
        ('lowest = "C2"', 'lowest = "H2"', "line 14: 'H2' is no pitch name"),
        ('lowest = "C2"', 'lowest = "C6"', "line 15: the highest pitch is below the lowest"),
        ("bits = 8", "bits = 7", "line 14: C2 needs the setting 223, more than 127"),
        ("last = 200", "last = 7", "line 20: the list of step lengths is empty"),
        ("last = 200", "last = 90000", "line 20: 89993 step lengths are too many"),
        (
            "[memory]",
            "[port]\nspeaker = 3\n[memory]",
            "line 23: only this project's Z80 player can be told a port",
        ),
        ("[memory]", "[port]\nspeaker = 8\n[memory]", "line 24: port.speaker can't be 8"),
        ("[memory]", "[port]\nbit = 3\n[memory]", "line 24: unknown key 'bit'.*speaker"),
        ("code_bytes = 200", "code_bytes = 4096", "line 24: the player leaves no memory"),
        ("[38]", "[36]", "line 37: percussion key 36 belongs to 'kick' already"),
        ("[38]", "[128]", "line 37: drum.percussion_keys can't be 128"),
        ('name = "snare"', 'name = "kick"', "line 35: 'kick' is the name of two drums"),
        ("[9000, 1100]", "[9000]", "line 32: a kick needs 2 settings: first half period"),
        ("[420]", "[0]", "line 39: a noise needs 1 setting"),
        ("[420]", '[420]\nthen = [{ kind = "bell", settings = [9] }]', "drum.then.kind can't be"),
        ("[420]", '[420]\nthen = [{ kind = "noise", settings = [1] }]', "beyond hearing"),
        ("[420]", '[420]\njoins = ["kick", "tom"]', "line 40: 'snare' can't join tom"),
        ("[420]", '[420]\njoins = ["kick"]', "line 40: 'snare' can't join kick"),
        ("[pitch]", "[pitch]\ntable = { C4 = 56 }", "line 14: a table and a range .*contradict"),
        ("weight = 0.9", "weight = 1.9", "line 38: drum.weight can't be 1.9"),
        ("weight = 0.9", "weight = nan", "line 38: drum.weight can't be nan"),
        ("settings = [420]", "settings = " + "[" * 5000, "is nested too deeply|no valid TOML"),
    ],
)
def test_a_fault_is_named_with_its_line(old: str, new: str, message: str) -> None:
    assert GOOD.count(old) == 1
    with pytest.raises(EngineError, match=message):
        parse_engine(GOOD.replace(old, new))


RANGE = 'lowest = "C2"\nhighest = "C5"\nbits = 8\n'


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ("C4 = 56\nB#3 = 56", "not allowed|Invalid|Expected"),  # a sharp needs quotes in TOML
        ('C4 = 56\n"B#3" = 56', "line 16: B#3 and C4 are the same pitch"),
        ("C4 = 56.5", "line 15: C4 can't be 56.5; give a whole number"),
        ("C4 = 0", "line 15: C4 can't be 0"),
        ("C4 = 28", r"line 15: every pitch .*C4, \+1192 cents off.*the nearest setting is 56"),
        ("X4 = 56", "line 15: 'X4' is no pitch name"),
    ],
)
def test_a_table_is_looked_through(table: str, message: str) -> None:
    with pytest.raises(EngineError, match=message):
        parse_engine(GOOD.replace(RANGE, f"[pitch.table]\n{table}\n"))


def test_a_table_of_ones_own_is_played() -> None:
    engine = parse_engine(GOOD.replace(RANGE, '[pitch.table]\nC4 = 56\n"C#4" = 53\n'))
    # By hand: 3,500,000 / (2 * 56 * 120) = 260.417 Hz, against 261.626: -8.0 cents.
    assert engine.pitches[60].frequency_hz == pytest.approx(260.417, abs=0.001)
    assert engine.pitches[60].cents == pytest.approx(-8.0, abs=0.05)
    assert sorted(engine.pitches) == [60, 61]


def test_pitches_that_would_be_other_notes_are_left_out() -> None:
    engine = parse_engine(GOOD.replace(RANGE, '[pitch.table]\nC4 = 28\n"C#4" = 53\n'))
    assert list(engine.pitches) == [61]
    assert [(entry.midi, round(entry.cents)) for entry in engine.left_out] == [(60, 1192)]
    told = "left out of the pitch table, since they are more than 50 cents off: C4 (+1192)"
    assert f"Warning: {told}" in list(engine_lines(engine))
    assert [entry["name"] for entry in engine_values(engine)["left_out"]] == ["C4"]
    high = parse_engine(GOOD.replace('highest = "C5"', 'highest = "C9"'))
    assert all(abs(entry.cents) <= 50 for entry in high.pitches.values())
    assert sorted([*high.pitches, *(entry.midi for entry in high.left_out)]) == [*range(36, 121)]


def test_a_conversion_says_once_what_the_engine_leaves_out() -> None:
    engine = parse_engine(GOOD.replace('highest = "C5"', 'highest = "C9"'))
    conversion = convert(read_song(DEMO), engine, Settings())
    said = [line for line in summary(conversion).remarks if "left out of the pitch table" in line]
    assert len(said) == 1
    assert said[0].startswith("mine: ")
    played = {cell for row in (conversion.sheet.voice1, conversion.sheet.voice2) for cell in row}
    assert not played & {entry.midi for entry in engine.left_out}


def test_frequencies_are_taken_as_listed() -> None:
    text = GOOD.replace('"counter"', '"frequencies"').replace(RANGE, "[pitch.table]\nA4 = 441.5\n")
    # By hand: 1200 * log2(441.5 / 440) = 5.892 cents.
    assert parse_engine(text).pitches[69].cents == pytest.approx(5.892, abs=0.001)


def test_frequencies_need_a_table() -> None:
    with pytest.raises(
        EngineError, match=re.escape("line 13: the table of frequencies is missing")
    ):
        parse_engine(GOOD.replace('"counter"', '"frequencies"'))


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(EngineError, match=r"mine\.toml: can't be read: No such file"):
        load_engine(tmp_path / "mine.toml")


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(EngineError, match="not UTF-8"):
        load_engine(tmp_path / "mine.toml")


def test_a_file_too_large_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_bytes(b"#" * 1_000_001)
    with pytest.raises(EngineError, match="is larger than 1,000,000 bytes"):
        load_engine(tmp_path / "mine.toml")


def test_a_path_is_looked_for_beside_and_above_the_sheet(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(GOOD, encoding="utf-8")
    assert load_engine("mine.toml", beside=tmp_path / "song.duet").name == "mine"
    assert load_engine("mine.toml", beside=tmp_path / "out" / "song.duet").name == "mine"
    with pytest.raises(EngineError, match=r"^other\.toml: can't be read: No such file"):
        load_engine("other.toml", beside=tmp_path / "song.duet")


def test_a_new_file_is_valid_as_it_stands(tmp_path: Path) -> None:
    path = tmp_path / "My Routine!.toml"
    new_engine(path)
    assert load_engine(path).name == "my-routine"
    with pytest.raises(OutputError, match="exists already"):
        new_engine(path)
    with pytest.raises(OutputError, match=r"end the name in \.toml"):
        new_engine(tmp_path / "routine.txt")


VALUES = st.sampled_from(
    ["0", "-1", "1", "nan", "inf", "1e300", "99999999999999999999", '""', '"C4"', "[]", "{}", "true",
     "1979-05-27", "[[1], 2]", '{ C4 = 1, "B#3" = 2 }', '"\\u0000"']
)  # fmt: skip


@settings(max_examples=60)
@given(st.data())
def test_any_damage_ends_in_an_engine_or_an_error(data: st.DataObject) -> None:
    lines = GOOD.splitlines()
    for _ in range(data.draw(st.integers(1, 3))):
        index = data.draw(st.integers(0, len(lines) - 1))
        if data.draw(st.booleans()):
            del lines[index]
        elif "=" in lines[index]:
            lines[index] = lines[index].split("=")[0] + "= " + data.draw(VALUES)
        else:
            lines.insert(index, data.draw(st.sampled_from([*lines, "[", "x = 1", "[drum]"])))
    said = ""
    try:
        engine = parse_engine("\n".join(lines))
    except EngineError as error:
        said = str(error)
    if said:
        assert said.isprintable()
    else:
        assert engine.pitches
        assert engine.step_lengths


@pytest.mark.parametrize("name", builtin_engines())
def test_a_new_file_may_begin_with_a_built_in_engine(name: str, tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    new_engine(path, like=name)
    own, model = load_engine(path), load_engine(name)
    assert own.name == "own"
    assert (own.pitches, own.step_lengths, own.drums) == (
        model.pitches,
        model.step_lengths,
        model.drums,
    )
