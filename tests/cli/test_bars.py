"""Editing bars as a user does it: converted songs, commands, conversions that keep the edits."""

from __future__ import annotations

import csv
import json
import re
import shutil
from itertools import pairwise
from pathlib import Path

import jsonschema
import pytest

from arranger.cli.app import run
from arranger.report.ledger.as_json import ledger_schema
from arranger.sheet import Sheet, read_sheet, tones
from tests.report.pages import data_of

DEMO = Path(__file__).parents[2] / "demo_songs"
SHEET = "boat_parade.duet"
CONVERT = ["convert", "boat_parade.mid", "-o", ".", "--no-audio", "--no-suggestions"]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made")
    shutil.copy(DEMO / "boat_parade.mid", folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert run(CONVERT) == 0
    return folder


@pytest.fixture
def here(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "here"
    shutil.copytree(made, folder)
    monkeypatch.chdir(folder)
    return folder


def bars(*words: str) -> int:
    return run(["bars", SHEET, *words])


def sounding(sheet: Sheet) -> list[list[tuple[int | None, int | None, str | None]]]:
    """Return what sounds in each bar, a step after the other."""
    steps = list(zip(tones(sheet.voice1), tones(sheet.voice2), sheet.drums, strict=True))
    return [steps[start:end] for start, end in pairwise(sheet.bar_starts)]


def test_the_sections_of_the_song_are_marked(here: Path) -> None:
    marks = {bar.number: bar.section for bar in read_sheet(SHEET).bars if bar.section}
    assert marks == {1: "A", 9: "A", 17: "other", 25: "A"}


def test_each_edit_says_what_it_did(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = sounding(read_sheet(SHEET))
    expected = {
        "copy 1-8 --to 17": "bars 1-8 copied to bars 17-24; bars 17-32 are 25-40 now",
        "copy A --to end --as": "bars 1-8 copied to bars 41-48, which are as those; "
        "A is the first of 4, bars 1-8",
        "insert 2 --to 9 --metre 3/4": "bars 9-10 put in, 3/4 and silent; bars 9-48 are 11-50 now",
        "delete 9-10": "bars 9-10 deleted; bars 11-50 are 9-48 now",
        "move A.4 --to 1": "bars 33-40 moved: now bars 1-8; bars 1-32 are 9-40 now",
        "move 1-8 --to 41": "bars 1-8 moved: now bars 33-40; bars 9-40 are 1-32 now",
        "transpose 2 --by -2 --row voice1": "voice 1 of bar 2 down by 2 semitones, 4 tones; "
        "heard too in bar 42, which is as a changed one",
        "transpose 2 --by 2 --row 1": "voice 1 of bar 2 up by 2 semitones, 4 tones; "
        "heard too in bar 42, which is as a changed one",
        "octave 3-4 up --row voice2": "voice 2 of bars 3-4 up by an octave, 16 tones; "
        "heard too in bars 43-44, which are as changed ones",
        "swap 5": "voices exchanged in bar 5; heard too in bar 45, which is as a changed one",
        "swap 45": "voices exchanged in bar 45; bar 45 is written out now",
        "clear 6 --row drums": "drums of bar 6 cleared; "
        "heard too in bar 46, which is as a changed one",
        "copy 7 --to 8 --row drums --row voice2": "voice 2 and drums of bar 7 copied over bar 8; "
        "heard too in bar 48, which is as a changed one",
        "copy 1 --to 2 --over --as": "bar 1 copied over bar 2, which is as that one; "
        "heard too in bar 42, which is as a changed one",
    }
    for words, told in expected.items():
        assert bars(*words.split()) == 0
        assert capsys.readouterr().out == f"{told}\n"
    assert bars("fill", "17-18", "kick . | hat .") == 0
    assert capsys.readouterr().out == "drums of bars 17-18 filled\n"
    assert run(["check", SHEET]) == 0
    assert run(["explain", SHEET, "41"]) == 1
    assert "bar 41 was put in by hand" in (said := capsys.readouterr().err)
    assert "it is as bar 1: ask for that" in said
    sheet = read_sheet(SHEET)
    now = sounding(sheet)
    assert now[24:40] == before[16:]
    assert sheet.drums[128:144] == ("kick", None, "hat", None) * 4
    assert [bar.number for bar in sheet.bars] == [*range(1, 49)]


def test_nothing_is_written_where_one_only_looks(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = Path(SHEET).read_bytes()
    assert bars("delete", "1-4", "--check") == 0
    assert capsys.readouterr().out.startswith("would be done: bars 1-4 deleted; ")
    assert bars("transpose", "1", "--by", "0") == 0
    assert capsys.readouterr().out == f"{SHEET}: that changes nothing\n"
    assert bars("delete", "1-4", "-o", "other.duet") == 0
    assert bars("delete", "1-4", "-o", SHEET) == 1
    assert bars("delete", "1-4", "-o", "boat_parade.mid") == 1
    assert Path(SHEET).read_bytes() == text
    assert not Path(f"{SHEET}~").exists()
    assert len(read_sheet("other.duet").bars) == 28
    capsys.readouterr()
    assert bars("delete", "1-4", "-o", "-") == 0
    said = capsys.readouterr()
    assert said.out == Path("other.duet").read_text("utf-8")
    assert said.err.startswith("bars 1-4 deleted")


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        ("copi 1", 2, "did you mean 'copy'?"),
        ("copy 1", 2, "copy needs --to; give the bar in front of which they go"),
        ("copy 1 --to 2 --by 1", 2, "copy takes no --by"),
        ("copy 1 --to 2 --over --times 2", 2, "--times is for copies that are put in"),
        ("copy 1 --to 2-3", 2, "--to 2-3 is no place"),
        ("copy 1-2 --to 32 --over", 1, f"{SHEET}: 2 bars are copied, but there is only 1"),
        ("copy 1 --to 34", 1, f"{SHEET}: the sheet has no bar 34; it has bars 1 to 32"),
        ("insert x --to 2", 2, "'x' is no count of bars"),
        ("delete 1-40", 1, "the sheet has no bar 40"),
        ("delete B", 1, "the sheet has no section 'B'; it has A, other"),
        ("move 1-4 --to 2", 2, "one of themselves"),
        ("octave 1 left", 2, "say up or down"),
        ("transpose 1 --by 1 --row drums", 2, "drums can't be transposed"),
        ("transpose 1 --by 90 --no-fold", 1, "can't be moved by 90 semitones"),
        ("clear 1 --row voice3", 2, "there is no row 'voice3'; did you mean 'voice"),
        ("fill 1 kik", 1, "twin-phase has no drum sound 'kik'; did you mean 'kick'?"),
        ("fill 1 !", 1, "write a name like kick"),
        ("fill 1 |", 2, "there is no drum in the row"),
    ],
)
def test_what_can_not_be_is_said_in_one_line(
    words: str, code: int, told: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = Path(SHEET).read_bytes()
    assert bars(*words.split()) == code
    said = capsys.readouterr()
    assert said.out == ""
    assert told in said.err
    assert said.err.count("\n") == 1
    assert Path(SHEET).read_bytes() == text


def test_tones_that_leave_the_table_are_folded_or_left_to_check(here: Path) -> None:
    assert bars("transpose", "1-8", "--by", "24", "--row", "voice1") == 0
    assert run(["check", SHEET]) == 0
    assert bars("transpose", "1-8", "--by", "24", "--row", "voice1", "--no-fold") == 0
    assert run(["check", SHEET]) == 1


@pytest.fixture(scope="module")
def rearranged(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder whose song was rearranged by bars, edited, and converted higher."""
    folder = tmp_path_factory.mktemp("rearranged") / "there"
    shutil.copytree(made, folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        shutil.copy(SHEET, "first.duet")
        assert bars("insert", "2", "--to", "9") == 0
        assert bars("move", "A.3", "--to", "1") == 0
        assert bars("delete", "5-6") == 0
        assert bars("clear", "3", "--row", "drums") == 0
        shutil.copy(SHEET, "edited.duet")
        assert run([*CONVERT, "--transpose", "2", "--keep-edits"]) == 0
    return folder


SONG_BARS = [25, 26, 27, 28, 31, 32, *range(1, 9), None, None, *range(9, 25)]
"""Of the rearranged sheet: the song's number of each bar, None for one put in."""


def test_moved_bars_are_converted_anew_where_they_stand(
    rearranged: Path, made: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    song = sounding(read_sheet(made / SHEET))
    merged = read_sheet(rearranged / SHEET)
    assert [bar.number for bar in merged.bars] == [*range(1, 33)]
    found = sounding(merged)
    for index, number in enumerate(SONG_BARS):
        if number is None:
            assert set(found[index]) == {(None, None, None)}
        elif index != 2:
            steps = song[number - 1]
            higher = [(a and a + 2, b and b + 2, drum) for a, b, drum in steps]
            assert [step[0] for step in found[index]] == [step[0] for step in higher]
    assert all(step[2] is None for step in found[2])


def test_the_ledger_counts_as_the_sheet_and_tells_the_song_s_bar(rearranged: Path) -> None:
    ledger = json.loads((rearranged / "boat_parade.ledger.json").read_text("utf-8"))
    jsonschema.validate(ledger, ledger_schema())
    place = {song: number for number, song in enumerate(SONG_BARS, 1)}
    for note in ledger["notes"]:
        # bars 29 and 30 of the song were taken out, after what is bar 4 now
        assert note["bar"] == place.get(note["song_bar"], 4)
    text = (rearranged / "boat_parade.ledger.csv").read_text("utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert [int(row["song_bar"]) for row in rows] == [n["song_bar"] for n in ledger["notes"]]
    told = {note["song_bar"]: note["explanation"] for note in ledger["notes"]}
    assert told[9].startswith("bar 17 (the song's 9) beat ")


def test_all_that_is_told_counts_as_the_sheet(
    rearranged: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(rearranged)
    assert run(["report", "boat_parade.ledger.json", "--bars", "17"]) == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if line.startswith("bar ")]
    assert lines
    assert all(line.startswith("bar 17 (the song's 9) beat ") for line in lines)
    for sheet in ("edited.duet", SHEET):
        for bar, song in ((17, 9), (2, 26)):
            assert run(["explain", sheet, str(bar)]) == 0
            assert capsys.readouterr().out.splitlines()[0] == f"bar {bar} (the song's {song})"
        assert run(["explain", sheet, "15"]) == 1
        assert "bar 15 was put in by hand" in capsys.readouterr().err
        assert run(["explain", sheet, "33"]) == 1
        assert "no bar 33; the sheet has bars 1 to 32" in capsys.readouterr().err
    assert run(["compare", "first.duet", "edited.duet"]) == 0
    assert re.search(r"^bar 3 .*\n  \(the song's 27\)$", capsys.readouterr().out, re.MULTILINE)
    page = (rearranged / "boat_parade.report.html").read_text("utf-8")
    assert [bar[-1] for bar in data_of(page)["bars"]] == [
        None if song == number else song for number, song in enumerate(SONG_BARS, 1)
    ]


def test_an_edit_of_a_bar_that_has_another_number_is_spread(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert bars("insert", "2", "--to", "9") == 0
    assert bars("clear", "1", "--row", "voice2") == 0
    capsys.readouterr()
    assert run(["spread", SHEET]) == 0
    assert capsys.readouterr().out == "bar 1, voice 2: went to 11 (the song's 9)\n"
