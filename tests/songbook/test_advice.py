"""songbook.toml as advised: it is read, it does what it says, and it overwrites nothing."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.engine.create import new_engine
from arranger.errors import OutputError
from arranger.options import build_settings
from arranger.report import suggestions
from arranger.settings import Settings
from arranger.song import read_song
from arranger.songbook import SongRecord
from arranger.songbook.advice import Suggested, book_text, suggest
from arranger.songbook.asked.settings import BookTable, read_book_settings
from arranger.songbook.summing_up import advice_json, advice_text
from arranger.songbook.working.work import Advised
from tests.songbook.runs import ROOT, choice, command, environment

DEMO = ROOT / "demo_songs"


@pytest.fixture
def songs(tmp_path: Path) -> Path:
    folder = tmp_path / "songs"
    (folder / "shelf").mkdir(parents=True)
    shutil.copy(DEMO / "lantern_hymn.mid", folder / "shelf" / "hymn [1].mid")
    shutil.copy(DEMO / "two_gulls.mid", folder)
    (folder / "broken.mid").write_bytes(b"<html>")
    return folder


def test_advice_is_what_the_report_says_and_counts_when_it_is_read(
    tmp_path: Path, songs: Path
) -> None:
    found = suggest(choice(tmp_path), None)
    path = songs / "songbook.toml"
    assert (found.path, found.read, found.advised) == (path, path, 1)
    assert [record.relative for record in found.failed] == ["broken.mid"]
    song = read_song(songs / "shelf" / "hymn [1].mid")
    best = suggestions(convert(song, load_engine("twin-phase"), Settings()))
    assert best
    text = path.read_text()
    assert f"# {best[0].what}: {best[0].effect}\n" in text
    for other in best[1:]:
        assert f"# or, {other.what}: {other.effect}\n# " in text
    assert "# broken.mid couldn't be tried: " in text
    assert "1 of 3 songs have advice" in text
    book = read_book_settings(path, Settings())
    name, value = best[0].options.removeprefix("--").split(" ")
    assert tomllib.loads(text)["songs"] == {"shelf/hymn [[]1].mid": {name: value}}
    assert book.unmatched(["shelf/hymn [1].mid"]) == ()
    assert advice_text(found).splitlines()[-1] == f"wrote {path}"
    told = json.loads(advice_json(found))
    assert told["advice"]["shelf/hymn [1].mid"][0]["options"] == best[0].options
    assert [each["song"] for each in told["failed"]] == ["broken.mid"]
    with pytest.raises(OutputError, match="there already"):
        suggest(choice(tmp_path), None)
    assert path.read_text() == text


def test_any_name_becomes_a_key_that_means_it_alone() -> None:
    names = [
        'a"b\\c.mid',
        "a*.mid",
        "[x]?.mid",
        "tab\there\x7f.mid",
        os.fsdecode(b"no\xff.mid"),
        "ü.mid",
    ]
    records = tuple(
        Advised(
            relative=name,
            place="p",
            state="done",
            advice=(("--bass 3", "what"), ("--step 1/4", "x\ny")),
        )
        for name in names
    )
    text = book_text(Suggested(records, Path("a"), Path("b"), Settings()))
    tables = tomllib.loads(text.encode("utf-8").decode("utf-8"))["songs"]
    assert list(tables.values()) == [{"bass": 3}] * len(names)
    assert '# or, x\\ny\n# step = "1/4"\n' in text
    for pattern, name in zip(tables, names, strict=True):
        assert [other for other in names if BookTable(pattern, {}, "").fits(other)] == [name]
    without = Suggested(
        (SongRecord(relative="a", place="a", state="done"),), Path("a"), Path("b"), Settings()
    )
    assert tomllib.loads(book_text(without)) == {}


def test_what_it_was_tried_with_stands_in_it(tmp_path: Path) -> None:
    new_engine(tmp_path / "mine.toml", like="twin-counter")
    asked = build_settings(
        {"engine": str(tmp_path / "mine.toml"), "no-sustain": True, "drum": ["54=off"], "mute": ["a 'b"],
         "transpose": "-2", "section-texture": ["A=broken-chord"], "bars": "3-8"}
    )  # fmt: skip
    path = tmp_path / "songs" / "songbook.toml"
    path.parent.mkdir()
    path.write_text(book_text(Suggested((), path, path, asked)))
    found = read_book_settings(path, Settings()).defaults
    assert Path(found.engine).resolve() == tmp_path / "mine.toml"
    assert replace(found, engine=asked.engine) == asked


def test_the_command_says_where_it_went(tmp_path: Path, songs: Path) -> None:
    (songs / "broken.mid").unlink()

    (songs / "songbook.toml").write_text("")
    done = subprocess.run(
        [*command(songs, tmp_path / "out")[:5], "--suggest", "-o", "advice.toml"],
        env=environment(), cwd=tmp_path, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.splitlines() == [
        "2 songs: 1 have advice, 0 failed",
        "wrote advice.toml",
        f"to have it read, move it to {songs}/songbook.toml",
    ]
    assert not (tmp_path / "out").exists()
