from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from arranger.cli.app import app
from arranger.engine import load_engine
from arranger.engine.create import new_engine
from arranger.errors import SettingsError, SheetError, UsageError
from arranger.rows import HOLD, REST
from arranger.sheet import write_sheet
from tests.sound.sheets import sheet_of

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result

ENGINE = load_engine("twin-phase")


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "piece.duet"
    write_sheet(sheet_of(ENGINE, [69, HOLD, REST, 72]), path)
    return path


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, ["export", *map(str, words)])


def test_a_sheet_is_written_as_asked(sheet: Path, tmp_path: Path) -> None:
    target = tmp_path / "out" / "steps.json"
    result = run(sheet, "--as", "json", "-o", target)
    assert result.exit_code == 0, result.output
    assert str(target) in result.stdout
    voices = [step["voice1"] for step in json.loads(target.read_text())["steps"]]
    assert voices == [69, 69, None, 72]


@pytest.mark.parametrize(("name", "suffix"), [("json", ".json"), ("c", ".c"), ("data", ".dat")])
def test_the_file_stands_beside_the_sheet_by_default(sheet: Path, name: str, suffix: str) -> None:
    assert run(sheet, "--as", name).exit_code == 0
    assert sheet.with_suffix(suffix).stat().st_size > 0


def test_an_engine_file_is_found_beside_the_sheet(tmp_path: Path) -> None:
    new_engine(tmp_path / "own.toml")
    piece = sheet_of(load_engine(tmp_path / "own.toml"), [60])
    write_sheet(replace(piece, engine="own.toml"), tmp_path / "piece.duet")
    assert run(tmp_path / "piece.duet", "--as", "json", "-o", tmp_path / "o.json").exit_code == 0
    assert json.loads((tmp_path / "o.json").read_text())["engine"] == "own"


@pytest.mark.parametrize(
    ("form", "suffix"), [("bytes", ".dat"), ("assembly", ".data.asm"), ("c", ".data.c")]
)
def test_data_look_as_the_engine_says(tmp_path: Path, form: str, suffix: str) -> None:
    new_engine(tmp_path / "own.toml")
    text = (tmp_path / "own.toml").read_text().replace("[export]", f'[export]\nform = "{form}"')
    (tmp_path / "own.toml").write_text(text)
    engine = load_engine(tmp_path / "own.toml")
    sheet = tmp_path / "piece.duet"
    write_sheet(replace(sheet_of(engine, [60, 62]), engine="own.toml"), sheet)
    result = run(sheet, "--as", "data", "--address", "0x9000")
    assert (
        "7 bytes of song data, by offset:\n       0 (0x9000)  2 steps: 7 bytes\n" in result.output
    )
    written = sheet.with_suffix(suffix).read_bytes()
    first, second = (engine.pitches[midi].setting for midi in (60, 62))
    told = {
        "bytes": bytes([first, 0, 0, second, 0, 0, 255]),
        "assembly": f"defb 0x{first:02X}, 0x00, 0x00, 0x{second:02X}".encode(),
        "c": b"static const uint8_t test_piece_data[7] = {",
    }
    assert told[form] in written


def test_an_unknown_format_is_refused(sheet: Path) -> None:
    assert isinstance(run(sheet, "--as", "csv").exception, SettingsError)


def test_a_sheet_the_engine_cannot_play_is_named(tmp_path: Path) -> None:
    path = tmp_path / "low.duet"
    write_sheet(sheet_of(ENGINE, [69, 12]), path)
    error = run(path, "--as", "json").exception
    assert isinstance(error, SheetError)
    assert str(path) in str(error)
    assert "bar 1, step 2: C0 is outside the pitch table" in str(error)


@pytest.mark.parametrize("address", ["65536", "-1", "8000g", "x"])
def test_an_address_that_is_none_is_wrong_usage(sheet: Path, address: str) -> None:
    assert run(sheet, "--as", "json", f"--address={address}").exit_code == 2


def test_c_comes_with_a_header_and_the_player(sheet: Path, tmp_path: Path) -> None:
    result = run(sheet, "--as", "c")
    assert result.exit_code == 0, result.output
    written = {path.name for path in tmp_path.iterdir()} - {sheet.name}
    assert written == {"piece.c", "piece.h", "duet_player.h", "duet_player.c"}
    assert "the song is test_piece_song" in result.stdout
    assert '#include "piece.h"' in sheet.with_suffix(".c").read_text()
    alone = run(sheet, "--as", "c", "-o", "-")
    assert "extern const duet_song test_piece_song;" in alone.stdout
    refused = run(sheet, "--as", "c", "-o", tmp_path / "duet_player.c")
    assert isinstance(refused.exception, UsageError)
    assert "duet_player is the player; call the song otherwise" in str(refused.exception)


def test_a_pc_gets_a_program_or_a_block_at_an_address(tmp_path: Path) -> None:
    engine = load_engine("pc-alternate")
    sheet = tmp_path / "piece.duet"
    write_sheet(sheet_of(engine, [69]), sheet)
    assert "a program" in run(sheet, "--as", "binary").stdout
    block = run(sheet, "--as", "binary", "--address", "8000h").stdout
    for line in ("0x8000 0x8009  start", "0x8003 0x800d  step", "0x8006 0x8011  stop"):
        assert line in block
    program, alone = sheet.with_suffix(".com"), sheet.with_suffix(".bin")
    assert program.read_bytes().endswith(alone.read_bytes())
    assert program.stat().st_size == alone.stat().st_size + 9


def test_several_sheets_for_one_player(sheet: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.duet"
    write_sheet(sheet_of(ENGINE, [60, 62], drums=["kick", None], title="Net loft"), other)
    target = tmp_path / "music.bin"
    done = run(sheet, other, "--as", "binary", "--effects", "hat,kick-snare", "-o", target)
    assert done.exit_code == 0, done.output
    assert target.stat().st_size > 0
    for said in ("choose", "effect", "list", "song 1: Net loft", "effect 1: kick-snare"):
        assert said in done.stdout
    songs = run(sheet, other, "--as", "hex", "--part", "songs", "--address", "0xC000", "-o", "-")
    assert songs.stdout.startswith(":10C0000")
    assert "  0xc000  songs" in songs.stderr
    too_low = sheet_of(ENGINE, [60])
    write_sheet(too_low, tmp_path / "low.duet")
    text = (tmp_path / "low.duet").read_text("utf-8").replace("C4", "C0")
    (tmp_path / "low.duet").write_text(text, "utf-8")
    low = run(sheet, tmp_path / "low.duet", "--as", "binary")
    assert low.exit_code == 1
    assert "low.duet" in str(low.exception)
    counter = load_engine("twin-counter")
    write_sheet(sheet_of(counter, [60]), tmp_path / "third.duet")
    mixed = run(sheet, tmp_path / "third.duet", "--as", "binary")
    assert mixed.exit_code == 1
    assert "third.duet: it is for twin-counter" in str(mixed.exception)
