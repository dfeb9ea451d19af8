from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
import soundfile
from typer.testing import CliRunner

from arranger.cli.app import app
from arranger.engine import load_engine
from arranger.errors import ArrangerError, OutputError, SettingsError, SheetError
from arranger.rows import HOLD, REST
from arranger.sheet import SheetBar, read_sheet, write_sheet
from tests.sound.sheets import sheet_of

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result

ENGINE = load_engine("twin-phase")
SECONDS = 4 * ENGINE.step_lengths[0].seconds


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "piece.duet"
    write_sheet(sheet_of(ENGINE, [69, HOLD, REST, 72]), path)
    return path


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, ["render", *map(str, words)])


def test_a_sheet_is_rendered_beside_itself_by_default(sheet: Path) -> None:
    result = run(sheet)
    assert result.exit_code == 0, result.output
    assert str(sheet.with_suffix(".wav")) in result.stdout
    assert soundfile.info(sheet.with_suffix(".wav")).duration == pytest.approx(SECONDS, abs=1e-4)


def test_name_rate_and_split_are_as_asked(sheet: Path, tmp_path: Path) -> None:
    target = tmp_path / "study.flac"
    assert run(sheet, "-o", target, "--rate", "96000", "--split").exit_code == 0
    info = soundfile.info(target)
    assert (info.format, info.samplerate, info.channels) == ("FLAC", 96_000, 2)


def test_a_section_is_rendered_by_its_name(sheet: Path) -> None:
    bars = (SheetBar(1, 1, 1, 4), SheetBar(2, 3, 3, 4, None, "Pier"))
    write_sheet(replace(read_sheet(sheet), bars=bars), sheet)
    assert run(sheet, "--bars", "pier").exit_code == 0
    seconds = soundfile.info(sheet.with_suffix(".wav")).duration
    assert seconds == pytest.approx(SECONDS * 3 / 4, abs=1e-4)
    with pytest.raises(SettingsError, match="no section 'quay'"):
        raise run(sheet, "--bars", "quay").exception or AssertionError


def test_nothing_is_said_of_progress_away_from_a_terminal(sheet: Path) -> None:
    assert run(sheet).stderr == ""


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("-o", "piece.mp9"), "name it .wav, .flac, .ogg"),
        (("--rate", "8000"), "choose 22050 to 192000"),
        (("--speaker", "smal"), "did you mean 'small'?"),
    ],
)
def test_what_cannot_be_had_is_refused(sheet: Path, options: tuple[str, ...], message: str) -> None:
    error = run(sheet, *options).exception
    assert isinstance(error, ArrangerError)
    assert message in str(error)


def test_a_folder_that_cannot_be_written_is_named(sheet: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    error = run(sheet, "-o", tmp_path / "file" / "piece.wav").exception
    assert isinstance(error, OutputError)
    assert "can't be written" in str(error)


def test_a_sheet_the_engine_cannot_play_is_named(tmp_path: Path) -> None:
    path = tmp_path / "low.duet"
    write_sheet(sheet_of(ENGINE, [69, 12]), path)
    error = run(path).exception
    assert isinstance(error, SheetError)
    assert str(path) in str(error)
    assert not path.with_suffix(".wav").exists()
