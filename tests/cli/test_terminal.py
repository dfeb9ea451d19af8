"""What every command owes its user: exit codes, one clear line, nothing harmful on the terminal."""

from __future__ import annotations

import json
import os
import shutil
import sys
from pathlib import Path

import pytest

import arranger.cli.app as app_module
from arranger.cli.app import run
from arranger.cli.terminal import say, say_json

DEMO = Path(__file__).parents[2] / "demo_songs" / "two_gulls.mid"

NASTY = "a\x1b]0;b\x07\u202ec"
NOT_UTF8 = os.fsdecode(b"\xff\xfe")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a song, its sheet and its ledger."""
    folder = tmp_path_factory.mktemp("made")
    shutil.copy(DEMO, folder / "song.mid")
    words = ["--no-audio", "--no-suggestions", "-o", str(folder)]
    assert run(["convert", str(folder / "song.mid"), *words]) == 0
    return folder


@pytest.fixture
def here(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a copy of that folder to work in."""
    monkeypatch.chdir(shutil.copytree(made, tmp_path / "here"))
    return Path()


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ("report song.ledger.json --outcome x", 2, "'x' is no outcome"),
        ("report song.ledger.json --reason x", 2, "'x' is no reason"),
        ("report song.ledger.json --bars x", 2, "'x' is no range of bars"),
        ("report song.ledger.json --bars 20-10", 2, "run backwards; write 10-20"),
        ("report song.ledger.json --bars 900", 1, "it has bars 1 to 12"),
        ("report song.ledger.json --part nobody", 1, "there is no part 'nobody'"),
        ("render song.duet --bars x", 2, "'x' is no range of bars"),
        ("render song.duet --bars 20-10", 2, "run backwards"),
        ("render song.duet --speaker x", 2, "no speaker 'x'"),
        ("render song.duet --rate 1", 2, "sample rate of 1"),
        ("convert song.mid --bars 20-10", 2, "run backwards"),
        ("convert song.mid --cost foo", 2, "the terms are attack, sustain"),
        ("convert song.mid --cost crosing=1", 2, "did you mean 'crossing'?"),
        ("convert song.mid --cost gap=5", 2, "'gap'"),
        ("convert song.mid --audio mp3", 2, "'mp3'"),
        ("export song.duet --as nope", 2, "no export format 'nope'"),
        ("export song.duet --as json --address 0x9000", 2, "json has no address"),
        ("export song.duet --as data --address 0x9000", 2, "data without an [export]"),
        ("export song.duet --as binary --address 0", 2, "choose 0x8000 or higher"),
        ("export song.duet --as json --entries start", 2, "is for the Z80 player as binary or"),
        ("export song.duet --as binary --prefix a_", 2, "is for the Z80 player as assembly"),
        ("export song.duet --as binary --entries start,go", 2, "no entry 'go'"),
        ("export song.duet --as binary --address $10000", 2, "outside 0 to 0xFFFF"),
        ("export song.duet --as binary --address 0x", 2, "'0x' is no address"),
        ("engines nope", 1, "no engine named 'nope'"),
        ("nope", 2, "nope"),
        ("convert", 2, "Usage: arranger convert"),
        ("", 2, "Usage: arranger"),
    ],
)
def test_mistakes_are_told_with_their_exit_code(
    here: Path, capsys: pytest.CaptureFixture[str], words: str, code: int, said: str
) -> None:
    before = sorted(here.iterdir())
    assert run(words.split()) == code
    assert said in capsys.readouterr().err
    assert sorted(here.iterdir()) == before


@pytest.mark.parametrize("address", ["$C000", "0xC000", "0XC000", "C000h", "c000H", "49152"])
def test_addresses_as_assemblers_write_them(
    here: Path, capsys: pytest.CaptureFixture[str], address: str
) -> None:
    assert run(["export", "song.duet", "--as", "binary", "--address", address]) == 0
    assert "addresses 0xc000 to" in capsys.readouterr().out


@pytest.mark.parametrize("name", [NASTY, NOT_UTF8, "two\nlines"], ids=ascii)
@pytest.mark.parametrize(
    "command",
    [
        "convert {}.mid --no-audio -o out", "convert {}.mid --no-audio --json -o out",
        "convert no{}", "survey {}.mid", "survey {}.mid --json", "check {}.duet",
        "check {}.duet --json", "check no{}", "tidy {}.duet", "tidy --check {}.duet", "tidy no{}",
        "render {}.duet --bars 1", "render no{}", "export {}.duet --as json", "export no{}",
        "export {}.duet --as {}", "spread {}.duet", "spread no{}",
        "bars {}.duet swap 1", "bars no{} swap 1", "bars {}.duet delete {}", "bars {}.duet copy 1 --to {}",
        "bars {}.duet fill 1 {}", "bars {}.duet {} 1", "compare {}.duet {}.duet",
        "compare {}.duet bad.duet", "compare no{} no{}", "explain {}.duet 1", "explain no{} 1",
        "report {}.ledger.json", "report no{}", "report {}.ledger.json --part {}",
        "report {}.ledger.json --bars {}", "engines {}", "engines {}.toml", "engines new {}.toml",
        "songbook no{} -o out", "convert {}.mid --tune {}", "convert {}.mid --step {}", "{}",
        "convert --{} x",
    ],
)  # fmt: skip
def test_names_do_no_harm(
    here: Path, capsys: pytest.CaptureFixture[str], name: str, command: str
) -> None:
    for suffix in (".mid", ".duet", ".ledger.json"):
        (here / f"song{suffix}").rename(here / f"{name}{suffix}")
    sheet = (here / f"{name}.duet").read_text()
    (here / "bad.duet").write_text(sheet.replace("D5", "Z9", 3))
    code = run([word.replace("{}", name) for word in command.split()])
    told = capsys.readouterr()
    assert code in {0, 1, 2}
    assert "defect" not in told.err
    for text in (told.out, told.err):
        assert all(line.isprintable() for line in text.split("\n"))
    if code == 1 and told.err:
        assert len(told.err.splitlines()) == 1
    if "--json" in command:
        json.loads(told.out)


@pytest.mark.parametrize("name", ["", ".", "..", "/", "x/y/z", "a" * 300])
@pytest.mark.parametrize(
    "command",
    ["render", "export --as json", "check", "tidy", "spread", "bars", "explain", "compare", "report",
     "convert", "survey", "engines"],
)  # fmt: skip
def test_names_that_are_no_files(
    here: Path, capsys: pytest.CaptureFixture[str], command: str, name: str
) -> None:
    more = {"explain": ["1"], "bars": ["swap", "1"], "compare": ["song.duet"]}
    before = sorted(here.rglob("*"))
    assert run([*command.split(), name, *more.get(command, [])]) in {1, 2}
    told = capsys.readouterr()
    assert told.err.startswith(("arranger: ", "Usage: "))
    assert "defect" not in told.err
    assert sorted(here.rglob("*")) == before


def test_a_defect_is_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a\nb")

    monkeypatch.setattr(app_module, "application", broken)
    assert run([]) == 1
    told = capsys.readouterr().err
    assert told.startswith(
        "arranger: defect of the program (ZeroDivisionError: a\\nb); please send"
    )
    assert len(told.splitlines()) == 1
    monkeypatch.setenv("ARRANGER_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        run([])


def test_what_an_encoding_lacks_is_an_escape(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with (tmp_path / "out").open("w", encoding="ascii") as stream:
        monkeypatch.setattr(sys, "stdout", stream)
        say("café 𝄞")
        say_json({"name": "café\x7f\x85𝄞\udcff"})
    line, json_text = (tmp_path / "out").read_text(encoding="ascii").split("\n", 1)
    assert line == r"caf\u00e9 \ud834\udd1e"
    assert json.loads(json_text) == {"name": "café\x7f\x85𝄞\udcff"}
