"""The convert command as a user runs it: files, summary, overrides, exit codes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
import soundfile

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "demo_songs"


def arranger(*words: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "arranger", *(str(word) for word in words)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        cwd=cwd,
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_demo_song_becomes_five_files_and_a_summary(tmp_path: Path) -> None:
    done = arranger("convert", DEMO / "two_gulls.mid", "-o", tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    names = {path.name for path in tmp_path.iterdir()}
    suffixes = (".duet", ".wav", ".ledger.json", ".ledger.csv", ".report.html")
    assert names == {f"two_gulls{suffix}" for suffix in suffixes}
    for said in (
        "tempo 96",
        "heard: tune 100 %",
        "right hand",
        "bytes",
        "wrote",
        "two_gulls.report.html",
    ):
        assert said in done.stdout
    # 12 bars of 4/4 at 96 beats a minute are 30 s; the engine's tempo may be 2 % off.
    assert soundfile.info(tmp_path / "two_gulls.wav").duration == pytest.approx(30.0, rel=0.03)


def test_every_note_is_in_the_ledger_once(tmp_path: Path) -> None:
    assert (
        arranger("convert", DEMO / "boat_parade.mid", "-o", tmp_path, "--no-audio").returncode == 0
    )
    ledger = json.loads((tmp_path / "boat_parade.ledger.json").read_text())
    counted = sum(ledger["totals"][outcome] for outcome in ("kept", "changed", "merged", "dropped"))
    assert len(ledger["notes"]) == ledger["source"]["notes"] == counted == 1043
    assert [note["id"] for note in ledger["notes"]] == list(range(len(ledger["notes"])))
    assert not (tmp_path / "boat_parade.wav").exists()


def test_overrides_reach_the_music_and_the_header(tmp_path: Path) -> None:
    words = ("--engine", "twin-counter", "--step", "1/4", "--tune", "strings", "--drums", "none")
    done = arranger("convert", DEMO / "boat_parade.mid", "-o", tmp_path, "--no-audio", *words)
    assert done.returncode == 0, done.stderr
    sheet = (tmp_path / "boat_parade.duet").read_text()
    assert "twin-counter" in sheet
    assert "--tune strings" in sheet
    assert "kick" not in sheet
    ledger = json.loads((tmp_path / "boat_parade.ledger.json").read_text())
    assert ledger["grid"]["step_beats"] == "1/4"
    strings = [part for track in ledger["source"]["tracks"] for part in track["parts"]]
    assert [part["role"] for part in strings if part["name"] == "strings"] == ["tune"]


def test_other_audio_formats_by_name(tmp_path: Path) -> None:
    assert (
        arranger("convert", DEMO / "two_gulls.mid", "-o", tmp_path, "--audio", "flac").returncode
        == 0
    )
    assert soundfile.info(tmp_path / "two_gulls.flac").format == "FLAC"


def test_details_on_demand(tmp_path: Path) -> None:
    words = ("-o", tmp_path, "--no-audio", "--no-suggestions", "--details")
    done = arranger("convert", DEMO / "two_gulls.mid", *words)
    assert done.returncode == 0, done.stderr
    for said in ("  step ", "tempo asked 96", "'right hand'", "125 notes: "):
        assert said in done.stdout


def test_json_summary_for_scripts(tmp_path: Path) -> None:
    done = arranger("convert", DEMO / "two_gulls.mid", "-o", tmp_path, "--no-audio", "--json")
    told = json.loads(done.stdout)
    totals = {"notes": 125, "kept": 125, "changed": 0, "merged": 0, "dropped": 0}
    assert told["totals"] == totals


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["convert", "nowhere.mid"], 1, "nowhere.mid: can't be read"),
        (["convert", "page.mid"], 1, "page.mid"),
        (["convert", "good.mid", "--tune", "nobody"], 1, "nobody"),
        (["convert", "good.mid", "--engine", "twin-fase"], 1, "twin-fase"),
        (["convert", "good.mid", "--bars", "900-901"], 1, "bar"),
        (["convert", "good.mid", "--audio", "mp3"], 2, "mp3"),
        (["convert", "good.mid", "--step", "1/5"], 2, "1/5"),
        (["convert", "good.mid", "--stepp", "1/4"], 2, "--stepp"),
        (["convert"], 2, "song"),
        (["convert", "good.mid", "-o", "page.mid"], 1, "page.mid"),
        (["render", "good.mid"], 1, "good.mid"),
        (["render", "nowhere.duet"], 1, "nowhere.duet"),
    ],
)
def test_mistakes_get_one_clear_line_and_their_exit_code(
    tmp_path: Path, words: list[str], code: int, message: str
) -> None:
    (tmp_path / "page.mid").write_text("<!DOCTYPE html><title>404</title>")
    (tmp_path / "good.mid").write_bytes((DEMO / "two_gulls.mid").read_bytes())
    before = sorted(tmp_path.iterdir())
    done = arranger(*words, cwd=tmp_path)
    assert done.returncode == code
    assert message in done.stderr
    assert "Traceback" not in done.stderr
    if code == 1:
        assert len(done.stderr.splitlines()) == 1
    assert sorted(tmp_path.iterdir()) == before


def test_an_edited_sheet_is_not_overwritten_unless_asked(tmp_path: Path) -> None:
    song = DEMO / "two_gulls.mid"
    assert arranger("convert", song, "-o", tmp_path, "--no-audio").returncode == 0
    sheet = tmp_path / "two_gulls.duet"
    edited = sheet.read_text().replace("D5", "A5", 1)
    sheet.write_text(edited)
    refused = arranger("convert", song, "-o", tmp_path, "--no-audio")
    assert refused.returncode == 1
    assert "edited by hand" in refused.stderr
    assert sheet.read_text() == edited
    assert arranger("convert", song, "-o", tmp_path, "--no-audio", "--force").returncode == 0
    assert sheet.read_text() != edited
    assert (tmp_path / "two_gulls.duet~").read_text() == edited


def test_an_edited_sheet_is_heard(tmp_path: Path) -> None:
    assert arranger("convert", DEMO / "two_gulls.mid", "-o", tmp_path).returncode == 0
    before = (tmp_path / "two_gulls.wav").read_bytes()
    sheet = tmp_path / "two_gulls.duet"
    sheet.write_text(sheet.read_text().replace("D5", "A5", 1))
    assert arranger("render", sheet).returncode == 0
    assert (tmp_path / "two_gulls.wav").read_bytes() != before


def test_help_and_version_answer() -> None:
    assert "convert" in arranger("--help").stdout
    assert arranger("--version").stdout.startswith("arranger ")
    for name in ("convert", "render", "engines", "export", "songbook", "survey"):
        done = arranger(name, "--help")
        assert done.returncode == 0
        assert f"arranger {name}" in done.stdout  # an example
