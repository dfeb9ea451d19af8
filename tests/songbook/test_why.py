"""Why songs are converted or left: said beforehand, then done, then told again."""

from __future__ import annotations

import csv
import json
import os
from typing import TYPE_CHECKING

import pytest

from arranger.engine.create import new_engine
from arranger.options import build_settings
from arranger.sheet.keep import Keeping
from arranger.songbook import BookChoice, SongRecord, convert_book, plan_book
from arranger.songbook.known.index import opened
from arranger.songbook.known.why import CODES, Made, Why, what_changed
from arranger.songbook.planned.song_plan import FEW, SETTLED_NS, _stamp
from arranger.songbook.planned.why_told import MOST_SETTINGS, plan_text, plan_values, why_lines
from arranger.songbook.summing_up import result_json, result_text
from tests.songbook.runs import choice, codes, edit
from tests.songbook.songs import write_song

if TYPE_CHECKING:
    from pathlib import Path


def everything(folder: Path) -> dict[str, tuple[bytes, int]]:
    return {
        str(path): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in folder.rglob("*")
        if path.is_file()
    }


def run(asked: BookChoice) -> dict[str, SongRecord]:
    """Convert a book, of which it must have been said beforehand what would be done and why."""
    before = everything(asked.out)
    planned, remarks = plan_book(asked)
    assert everything(asked.out) == before, "nothing was written"
    result = convert_book(asked)
    assert {each.job.relative: list(each.why) for each in planned} == {
        record.relative: [Why(*why) for why in record.why] for record in result.records
    }
    assert remarks == result.remarks
    return {record.relative: record for record in result.records}


def aged(folder: Path) -> None:
    """Have all songs be of long ago, so that a look at them is enough."""
    for path in folder.iterdir():
        os.utime(path, ns=(10**18, 10**18))


def test_each_song_tells_why(tmp_path: Path) -> None:
    songs, out = tmp_path / "songs", tmp_path / "out"
    for number, name in enumerate("abcdef"):
        write_song(songs / f"{name}.mid", number)
    (songs / "broken.mid").write_bytes(b"<html>")
    asked = choice(tmp_path)
    assert set(map(tuple, codes(run(asked).values()).values())) == {("new",)}
    assert codes(run(asked).values()) == {
        **{f"{name}.mid": ["unchanged"] for name in "abcdef"}, "broken.mid": ["still-fails"],
    }  # fmt: skip

    write_song(songs / "a.mid", seed=99)
    (out / "b.ledger.csv").unlink()
    (out / "c.report.html").write_text("<html>")
    edit(out / "d.duet")
    os.utime(songs / "e.mid")  # touched, but the same
    write_song(songs / "g.mid", 7)
    (songs / "pipe.mid").symlink_to(tmp_path / "nowhere")
    found = run(asked)
    assert codes(found.values()) == {
        "a.mid": ["song"], "b.mid": ["missing"], "c.mid": ["touched"], "d.mid": ["sheet", "kept-edit"],
        "e.mid": ["unchanged"], "f.mid": ["unchanged"], "g.mid": ["new"],
        "broken.mid": ["still-fails"], "pipe.mid": ["unreadable"],
    }  # fmt: skip
    assert found["b.mid"].why == (("missing", "b.ledger.csv is missing"),)

    for settings, force, keep, of_d in (
        ({}, False, False, ["kept-edit"]),
        ({"step": "1/4"}, False, False, ["setting", "kept-edit"]),
        ({"step": "1/4"}, False, True, ["keep-edits"]),
        ({"step": "1/3"}, False, False, ["setting", "kept-edit"]),
        ({"step": "1/3"}, True, False, ["force"]),
    ):
        asked = choice(
            tmp_path, settings=build_settings(settings), force=force, keeping=Keeping(edits=keep)
        )
        found = run(asked)
        assert codes(found.values())["d.mid"] == of_d
        assert codes(found.values())["f.mid"] == (
            ["setting"] if "setting" in of_d else ["unchanged"]
        )
    assert not found["d.mid"].edited


def test_a_setting_is_told_with_what_it_was(tmp_path: Path) -> None:
    def told(before: dict[str, object], now: dict[str, object]) -> list[str]:
        from arranger.options import command_line

        spelled = [command_line(build_settings(words)) for words in (before, now)]
        return [why.sentence for why in what_changed(*(Made(settings=line) for line in spelled))]

    assert told({"step": "1/4", "mute": ["a b"]}, {"step": "1/3", "drums": "light"}) == [
        "step changed from 1/4 to 1/3", "mute is no longer 'a b'", "drums is now light",
    ]  # fmt: skip
    assert told({}, {"no-sustain": True}) == ["no-sustain is now set"]
    assert [*what_changed(Made(settings="--was-there 3"), Made())] == [
        Why("setting", CODES["setting"])
    ]
    assert [why.sentence for why in what_changed(Made(audio="wav"), Made())] == [
        "audio is no longer wav"
    ]


def test_a_score_counts_on_the_library_that_reads_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_song(tmp_path / "songs" / "a.mid", 1)
    (tmp_path / "songs" / "b.abc").write_text("X:1\nT:Quay\nM:4/4\nL:1/8\nK:C\nCDEF|GABc|\n")
    assert {record.state for record in run(choice(tmp_path)).values()} == {"done"}
    monkeypatch.setattr("importlib.metadata.version", lambda name: f"{name} of tomorrow")
    planned, _ = plan_book(choice(tmp_path))
    assert [each.why[0].code for each in planned] == ["unchanged", "library"]
    assert planned[1].why[0].sentence.endswith(", now by music21 music21 of tomorrow")


def test_the_engines_file_and_the_name_of_the_outputs_count(tmp_path: Path) -> None:
    songs = tmp_path / "songs"
    write_song(songs / "a.mid", 1)
    new_engine(tmp_path / "mine.toml", like="twin-counter")
    asked = choice(tmp_path, settings=build_settings({"engine": str(tmp_path / "mine.toml")}))
    run(asked)
    text = (tmp_path / "mine.toml").read_text()
    assert "3_500_000" in text
    (tmp_path / "mine.toml").write_text(f"{text}\n# said besides\n")
    assert codes(run(asked).values()) == {"a.mid": ["unchanged"]}
    (tmp_path / "mine.toml").write_text(text.replace("3_500_000", "3_500_001"))
    assert codes(run(asked).values()) == {"a.mid": ["engine"]}
    write_song(songs / "a.midi", 2)
    assert codes(run(asked).values()) == {"a.mid": ["place"], "a.midi": ["new"]}


def test_a_failure_that_may_pass_is_tried_again(tmp_path: Path) -> None:
    write_song(tmp_path / "songs" / "a.mid", 1)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "a.duet").write_text("no sheet")
    for why in ("new", "again"):
        found = run(choice(tmp_path))["a.mid"]
        assert (found.reason, [code for code, _ in found.why]) == ("unwritable", [why])
    (tmp_path / "out" / "a.duet").unlink()
    assert run(choice(tmp_path))["a.mid"].state == "done"


def test_a_look_is_enough_for_songs_of_long_ago(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(3):
        write_song(tmp_path / "songs" / f"{number}.mid", number)
    aged(tmp_path / "songs")
    # Times of a change that nobody can set show that nothing is younger: pretend to be in the future.
    monkeypatch.setattr("arranger.songbook.planned.song_plan.SETTLED_NS", 0)
    for _ in range(2):
        run(choice(tmp_path))
    monkeypatch.setattr(
        "arranger.songbook.planned.song_plan._digest", lambda _job: pytest.fail("was read")
    )
    assert set(map(tuple, codes(run(choice(tmp_path)).values()).values())) == {("unchanged",)}


def test_a_young_file_is_read_since_its_times_prove_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.mid"
    path.write_bytes(b"one")
    assert _stamp(path) == ""
    now = path.stat().st_ctime_ns
    monkeypatch.setattr(
        "arranger.songbook.planned.song_plan.time.time_ns", lambda: now + SETTLED_NS - 1
    )
    assert _stamp(path) == ""
    monkeypatch.setattr(
        "arranger.songbook.planned.song_plan.time.time_ns", lambda: now + SETTLED_NS
    )
    before = _stamp(path)
    assert before
    os.utime(path, ns=(10**18, 10**18))  # whoever sets a time back changes another
    monkeypatch.setattr(
        "arranger.songbook.planned.song_plan.time.time_ns", lambda: now + 10 * SETTLED_NS
    )
    assert _stamp(path) not in ("", before)


def test_a_plan_can_be_made_while_another_run_is_at_work(tmp_path: Path) -> None:
    write_song(tmp_path / "songs" / "a.mid", 1)
    convert_book(choice(tmp_path))
    with opened(tmp_path / "out"):
        planned, _ = plan_book(choice(tmp_path))
    assert [each.why[0].code for each in planned] == ["unchanged"]


def test_names_that_mean_several_parts_are_told_before_and_after(tmp_path: Path) -> None:
    for name in "abc":
        write_song(tmp_path / "songs" / f"{name}.mid", 1, parts=3)
    (tmp_path / "songs" / "songbook.toml").write_text(
        '[defaults]\nmute = ["part"]\n[songs."b.mid"]\nmute = ["part 2"]\n'
        '[songs."c.mid"]\ntune = "part"\nmute = false\n'
    )
    planned, remarks = plan_book(choice(tmp_path))
    said = (
        "mute 'part' means 3 parts, 1 'part 0', 2 'part 1', 3 'part 2': '*part*' says all of them"
    )
    assert remarks[0] == f"a.mid: {said}"
    assert remarks[1].startswith("c.mid: will fail: --tune 'part': 3 parts have this in the name")
    assert len(remarks) == 2
    result = convert_book(choice(tmp_path))
    assert f"  a.mid: {said}" in result_text(result).splitlines()
    assert [record.reason for record in result.records] == ["", "", "settings"]
    assert plan_book(choice(tmp_path))[1] == (), "of songs that are left all is told already"
    assert len(planned) == 3


def test_songs_that_are_gone_are_told_once(tmp_path: Path) -> None:
    for number in range(FEW + 2):
        write_song(tmp_path / "songs" / f"{number}.mid", number)
    run(choice(tmp_path))
    for number in range(FEW + 1):
        (tmp_path / "songs" / f"{number}.mid").unlink()
    planned, remarks = plan_book(choice(tmp_path))
    assert remarks == (
        "no longer among the songs, but their files stay: 0.mid, 1.mid, 2.mid, 3.mid, 4.mid and 1 more",
    )
    assert len(planned) == len(run(choice(tmp_path))) == 1
    assert plan_book(choice(tmp_path))[1] == ()


def test_many_songs_are_told_in_few_lines() -> None:
    new = [(f"{n}.mid", (("new", CODES["new"]),)) for n in range(FEW + 1)]
    few = [("a\n.mid", (("missing", "a.wav is missing"), ("setting", "step is now 1/4")))]
    assert list(why_lines([*few, *new])) == [
        "      6 not converted before",
        "      1 step is now 1/4: a\\n.mid",
        "      1 a.wav is missing: a\\n.mid",
    ]
    many = [(f"{n}.mid", (("setting", f"tune is now {n}"),)) for n in range(300)]
    lines = list(why_lines(many))
    assert len(lines) == MOST_SETTINGS + 1
    assert lines[-1] == f"{300 - MOST_SETTINGS:>7} a setting changed"


def test_terminal_table_and_json_tell_why(tmp_path: Path) -> None:
    write_song(tmp_path / "songs" / "a.mid", 1)
    assert plan_text(*plan_book(choice(tmp_path))).splitlines() == [
        "1 songs: 1 to convert, 0 to leave; nothing is written",
        "      1 not converted before: a.mid",
    ]
    assert not (tmp_path / "out").exists()
    result = convert_book(choice(tmp_path))
    assert "      1 not converted before: a.mid" in result_text(result).splitlines()
    assert json.loads(result_json(result))["why"] == {"new": 1}
    rows = list(csv.DictReader((tmp_path / "out" / "songbook.csv").read_text().splitlines()))
    assert [(row["why"], row["why_told"]) for row in rows] == [("new", CODES["new"])]
    songs = json.loads((tmp_path / "out" / "songbook.json").read_text())["songs"]
    assert songs[0]["why"] == [["new", CODES["new"]]]
    asked = choice(tmp_path, settings=build_settings({"step": "1/4"}))
    assert plan_values(*plan_book(asked)) == {
        "songs": 1, "to_convert": 1, "to_leave": 0, "why": {"setting": 1}, "remarks": [],
        "plan": [{
            "song": "a.mid", "convert": True,
            "why": [{"code": "setting", "sentence": "step is now 1/4"}],
        }],
    }  # fmt: skip
