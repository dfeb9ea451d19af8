"""What commands overwrite, and what never: the song, the sheet, links, pipes, full disks."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import wave
from io import BytesIO
from pathlib import Path

import pytest
from typer.testing import CliRunner

from arranger.cli.app import app
from arranger.errors import OutputError

ROOT = Path(__file__).parents[2]
SONG = ROOT / "demo_songs" / "two_gulls.mid"


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """Return a sheet that lies beside its song."""
    (tmp_path / "song.mid").write_bytes(SONG.read_bytes())
    assert run("convert", tmp_path / "song.mid", "-o", tmp_path, "--no-audio") == ""
    return tmp_path / "song.duet"


def run(*words: str | Path) -> str:
    """Run a command; return why it refused, or nothing."""
    extra = ["--no-suggestions"] if words[0] == "convert" else []
    result = CliRunner().invoke(app, [*map(str, words), *extra])
    if isinstance(result.exception, OutputError):
        return str(result.exception)
    assert result.exit_code == 0, result.output
    return ""


def process(*words: str | Path, **options: object) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(  # type: ignore[call-overload,no-any-return]
        [sys.executable, "-m", "arranger", *map(str, words)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        **{"capture_output": True, "check": False, **options},
    )


def test_an_export_beside_the_song_leaves_the_song(sheet: Path) -> None:
    assert run("export", sheet, "--as", "midi") == ""
    assert sheet.with_name("song.mid").read_bytes() == SONG.read_bytes()
    assert sheet.with_name("song.duet.mid").read_bytes()[:4] == b"MThd"
    assert run("export", sheet, "--as", "musicxml") == ""
    assert b"<score-partwise" in sheet.with_name("song.duet.musicxml").read_bytes()


FORMATS = ("midi", "musicxml", "svg", "pdf", "json", "c", "data", "binary", "assembly")


@pytest.mark.parametrize("format_name", FORMATS)
def test_no_export_replaces_song_or_sheet(sheet: Path, format_name: str) -> None:
    before = {path: path.read_bytes() for path in sheet.parent.iterdir()}
    song = sheet.with_name("song.mid")
    copy = sheet.parent / "copy" / "other.mid"
    copy.parent.mkdir()
    copy.write_bytes(song.read_bytes())
    link = copy.with_name("link")
    link.symlink_to(song)
    for target, what in (
        (song, "the song that the sheet was made from"),
        (copy, "the song that the sheet was made from"),
        (link, "the song that the sheet was made from"),
        (sheet, "the sheet that is read here"),
    ):
        assert f"is {what}" in run("export", sheet, "--as", format_name, "-o", target)
    assert {path: path.read_bytes() for path in before} == before
    assert link.is_symlink()
    assert copy.read_bytes() == SONG.read_bytes()


def test_a_song_that_was_changed_since_is_known_by_its_name(sheet: Path) -> None:
    song = sheet.with_name("song.mid")
    song.write_bytes(song.read_bytes() + b"\0")
    before = song.read_bytes()
    assert "is the song" in run("export", sheet, "--as", "midi", "-o", song)
    assert song.read_bytes() == before


def test_an_earlier_export_is_not_taken_for_the_song(sheet: Path) -> None:
    target = sheet.with_name("song.mid")
    target.unlink()
    assert run("export", sheet, "--as", "midi", "-o", target) == ""
    first = target.read_bytes()
    sheet.write_text(sheet.read_text().replace("D5", "A5", 1))
    assert run("export", sheet, "--as", "midi", "-o", target) == ""
    assert target.read_bytes() != first
    assert target.with_name("song.mid~").read_bytes() == first


@pytest.mark.parametrize("command", ["render", "tidy", "spread"])
def test_no_other_command_replaces_song_or_sheet(sheet: Path, command: str) -> None:
    for path in (sheet, sheet.with_name("song.mid")):
        target = sheet.with_name(f"{path.name}.wav")
        target.hardlink_to(path)
        before = path.read_bytes()
        assert "so it is not overwritten" in run(command, sheet, "-o", target)
        assert path.read_bytes() == target.read_bytes() == before


def test_a_conversion_does_not_replace_its_song(tmp_path: Path) -> None:
    song = tmp_path / "song.wav"  # a song is known by its content, whatever its name
    song.write_bytes(SONG.read_bytes())
    assert "is the song that is read here" in run("convert", song, "-o", tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["song.wav"]
    assert song.read_bytes() == SONG.read_bytes()


def test_all_outputs_are_looked_at_before_one_is_written(tmp_path: Path) -> None:
    (tmp_path / "two_gulls.report.html").mkdir()
    assert "it is a folder" in run("convert", SONG, "-o", tmp_path, "--no-audio")
    assert [path.name for path in tmp_path.iterdir()] == ["two_gulls.report.html"]


def test_every_overwritten_output_is_kept_once(sheet: Path) -> None:
    before = {path.name: path.read_bytes() for path in sheet.parent.iterdir()}
    words = ("convert", sheet.with_name("song.mid"), "-o", sheet.parent, "--no-audio")
    assert run(*words) == ""
    assert not list(sheet.parent.glob("*~"))  # all is equal
    assert run(*words, "--transpose", "2") == ""
    kept = {path.name.removesuffix("~"): path.read_bytes() for path in sheet.parent.glob("*~")}
    del before["song.mid"]
    assert kept == before


def test_a_file_of_the_users_is_kept(sheet: Path) -> None:
    mine = sheet.with_suffix(".asm")
    mine.write_text("; my player")
    assert run("export", sheet, "--as", "assembly") == ""
    assert mine.with_name("song.asm~").read_text() == "; my player"


def test_a_linked_sheet_is_tidied_where_it_lies(sheet: Path) -> None:
    real = sheet.with_name("real.duet")
    sheet.rename(real)
    real.chmod(0o600)
    real.write_text(real.read_text().replace("  voice 1   ", "voice 1 "))
    sheet.symlink_to("real.duet")
    assert run("tidy", sheet) == ""
    assert sheet.is_symlink()
    assert "  voice 1   " in real.read_text()
    assert real.stat().st_mode & 0o777 == 0o600


def test_standard_output_gets_the_content_and_nothing_else(sheet: Path) -> None:
    exported = process("export", sheet, "--as", "json", "-o", "-")
    assert json.loads(exported.stdout)["format"] == "arranger-steps"
    assert b"standard output: " in exported.stderr

    rendered = process("render", sheet, "-o", "-")
    with wave.open(BytesIO(rendered.stdout)) as sound:
        assert sound.getnframes() > 44_100
    assert rendered.stderr == b"standard output\n"

    text = sheet.read_text()
    sheet.write_text(text.replace("  voice 1   ", "voice 1 "))
    assert process("tidy", sheet, "-o", "-").stdout.decode() == text
    assert sheet.read_text() != text
    assert process("spread", sheet, "-o", "-").stdout.decode() == text
    assert process("engines", "new", "-").stdout.startswith(b"# ")
    assert not [path for path in sheet.parent.iterdir() if path.name.startswith("-")]


def test_a_redirected_standard_output_by_its_name_is_not_replaced(sheet: Path) -> None:
    target = sheet.with_name("out.json")
    with target.open("wb") as file:
        done = process(
            "export", sheet, "--as", "json", "-o", "/dev/stdout",
            stdout=file, stderr=subprocess.PIPE, capture_output=False,
        )  # fmt: skip
        assert target.samefile(f"/dev/fd/{file.fileno()}")
    assert done.returncode == 0, done.stderr
    assert json.loads(target.read_text())["format"] == "arranger-steps"


@pytest.mark.parametrize("words", [("render",), ("export", "--as", "json")])
def test_a_reader_that_goes_away_is_no_traceback(sheet: Path, words: tuple[str, ...]) -> None:
    read, write = os.pipe()
    os.close(read)
    done = process(
        *words, sheet, "-o", "-", stdout=write, stderr=subprocess.PIPE, capture_output=False
    )
    os.close(write)
    assert b"Traceback" not in done.stderr
    assert b"rror" not in done.stderr


def test_several_files_do_not_go_to_standard_output() -> None:
    done = CliRunner().invoke(app, ["convert", str(SONG), "-o", "-"])
    assert done.exit_code == 2
    assert "name a folder" in done.stderr


@pytest.mark.parametrize(
    "words", [("render",), ("export", "--as", "json"), ("export", "--as", "midi")]
)
def test_a_full_disk_is_one_line_and_the_old_file_stays(
    sheet: Path, tmp_path: Path, words: tuple[str, ...]
) -> None:
    target = tmp_path / "old.ogg"
    target.write_bytes(b"old")
    # No file may grow past 1 KiB: writes fail as they do when the disk is full.
    command = [sys.executable, "-m", "arranger", *words, str(sheet), "-o", str(target)]
    done = subprocess.run(
        ["bash", "-c", 'ulimit -f 1; exec "$@"', "bash", *command],
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert "old.ogg: can't be written" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert target.read_bytes() == b"old"
    assert not list(tmp_path.glob(".writing-*"))
    assert not list(tmp_path.glob("*~"))
