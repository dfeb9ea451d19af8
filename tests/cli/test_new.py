"""A piece from nothing: every command that takes a sheet takes one without a song."""

from __future__ import annotations

import shutil
from fractions import Fraction
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

import mido
import music21
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from arranger.cli.app import app, run
from arranger.engine import builtin_engines, load_engine
from arranger.errors import UsageError
from arranger.machine.exporters import EXPORTERS
from arranger.settings import STEP_CHOICES
from arranger.sheet import SheetBar, format_sheet, read_sheet
from arranger.sheet.blank import blank_sheet
from arranger.sheet.check import check_file, check_text
from arranger.sheet.played import PlayedStep, played_steps, step_length

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.engine.model import Engine


def test_a_sheet_has_what_was_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "pier.duet"
    words = "--engine twin-counter --bars 3 --metre 3/4 --tempo 136.5 --step 1/3 --pickup 2"
    assert run(["new", str(path), *words.split(), "--title", "On the pier"]) == 0
    sheet = read_sheet(path)
    assert (sheet.title, sheet.engine) == ("On the pier", "twin-counter")
    assert (sheet.step_beats, sheet.tempo, sheet.length) == (Fraction(1, 3), 136.5, None)
    assert sheet.bars == (SheetBar(0, 2, 3, 4), *(SheetBar(n, 9, 3, 4) for n in (1, 2, 3)))
    assert check_file(path).problems == []
    assert run(["tidy", "--check", str(path)]) == 0


@settings(max_examples=50)
@given(
    st.sampled_from(builtin_engines()).map(load_engine),
    st.sampled_from([(4, 4), (3, 4), (6, 8), (7, 8), (5, 16), (2, 1)]),
    st.sampled_from(STEP_CHOICES),
    st.floats(20, 400),
    st.integers(0, 20),
)
def test_what_is_accepted_is_played(
    engine: Engine, metre: tuple[int, int], step: Fraction, tempo: float, pickup: int
) -> None:
    asked: Any = {"metre": metre, "step_beats": step, "tempo": tempo, "pickup": pickup}
    try:
        sheet = blank_sheet(engine, title="x", engine_name=engine.name, bars=3, **asked)
    except UsageError:
        return
    assert check_text(format_sheet(sheet), load_engine).problems == []
    assert set(played_steps(sheet, engine)) == {PlayedStep(None, None, None)}


def test_without_options_it_is_sixteen_bars_called_as_the_file(tmp_path: Path) -> None:
    assert run(["new", str(tmp_path / "pier.duet")]) == 0
    sheet = read_sheet(tmp_path / "pier.duet")
    assert (sheet.title, sheet.engine, sheet.tempo) == ("pier", "twin-phase", 120)
    assert sheet.bars == tuple(SheetBar(number, 16, 4, 4) for number in range(1, 17))


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        ("--metre 7/8 --step 1/3", 2, "1/3 beat don't fill a bar of 7/8; choose 1/2 or 1/4 or 1/6"),
        ("--metre 1/64", 2, "don't fill a bar of 1/64; choose another metre"),
        ("--metre 3", 2, "'3' is no metre; write one like 4/4"),
        ("--metre 0/4", 2, "'0/4' is no metre"),
        ("--step 1/0", 2, "'1/0' is no share of a beat; write one like 1/4"),
        ("--step 1/9999", 2, "a bar of 4/4 would have 39,996 steps"),
        ("--bars 62501", 2, "more than 1,000,000 steps; choose at most 62,500 bars"),
        ("--bars 0", 2, "--bars"),
        ("--pickup 16", 2, "no shorter than a bar of 16; choose one of 0 to 15 steps"),
        ("--tempo 500", 2, "misses tempo 500 by more than 3% with steps of 1/4 beat: it plays 419.73"),
        ("--tempo 500", 2, "choose another tempo, or a step of 1 or 1/2 or 1/3"),
        ("--tempo 2", 2, "it plays 23.67; choose another tempo"),
        ("--engine twin", 1, "there is no engine named 'twin'"),
    ],
)  # fmt: skip
def test_what_cant_be_had_is_told_and_nothing_is_written(
    words: str, code: int, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["new", str(tmp_path / "pier.duet"), *words.split()]) == code
    assert told in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_no_file_is_overwritten_unless_asked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "pier.duet"
    path.write_text("an edit half done")
    assert run(["new", str(path)]) == 1
    assert "exists already; choose another name, or overwrite it with --force" in (
        capsys.readouterr().err
    )
    assert path.read_text() == "an edit half done"
    assert run(["new", str(path), "--force"]) == 0
    assert (tmp_path / "pier.duet~").read_text() == "an edit half done"
    assert run(["undo", str(path)]) == 0
    assert path.read_text() == "an edit half done"
    song = tmp_path / "song.mid"
    song.write_bytes(b"MThd")
    assert run(["new", str(song), "--force"]) == 1
    assert song.read_bytes() == b"MThd"


def test_standard_output_gets_nothing_but_the_sheet() -> None:
    said = CliRunner().invoke(app, ["new", "-", "--bars", "1"])
    assert said.stdout.startswith('arranger-sheet 1\ntitle     ""\n')
    assert "standard output: 16 steps, 0:02, tempo 120 (120.09 played)" in said.stderr


@pytest.mark.parametrize("name", builtin_engines())
def test_a_silent_sheet_goes_into_every_format(name: str, tmp_path: Path) -> None:
    path = tmp_path / "pier.duet"
    assert run(["new", str(path), "--engine", name, "--bars", "3", "--metre", "3/4"]) == 0
    lacking = {"svg", "pdf"} if find_spec("verovio") is None else set()
    for kind in EXPORTERS.keys() - lacking:
        assert run(["export", str(path), "--as", kind]) == 0
    seconds = 36 * step_length(read_sheet(path), load_engine(name)).seconds
    midi = mido.MidiFile(tmp_path / "pier.duet.mid")
    assert midi.length == pytest.approx(seconds, abs=1e-3)
    score = music21.converter.parse(
        (tmp_path / "pier.duet.musicxml").read_text(), format="musicxml"
    )
    assert [len(part.getElementsByClass("Measure")) for part in score.parts][:2] == [3, 3]
    assert run(["render", str(path), "-o", str(tmp_path / "pier.wav")]) == 0


def test_what_needs_a_song_says_what_to_do_instead(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "pier.duet"
    run(["new", str(path)])
    shutil.copy(path, tmp_path / "copy.duet")
    assert run(["compare", str(path), str(tmp_path / "copy.duet")]) == 0
    assert "no bar differs" in capsys.readouterr().out
    run(["export", str(path), "--as", "midi"])
    for words, told in (
        (["spread", str(path)], "copy bars with arranger bars"),
        (["explain", str(path), "3"], "was made from, so nothing was weighed; arranger report"),
        (["convert", str(path)], "a sheet, not a song; arranger render"),
        (["convert", f"{path}.mid"], "there are no notes in the song"),
    ):
        assert run(words) == 1
        assert told in capsys.readouterr().err
