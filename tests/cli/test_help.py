"""What ``--help`` shows: everything, in groups, in the terminal's width."""

from __future__ import annotations

import re

import pytest

from arranger.cli.app import COMMANDS, run


def shown(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert run([*words, "--help"]) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize(("columns", "most"), [(80, 80), (100, 100), (200, 110)])
def test_help_fits_the_width_and_cuts_nothing(
    columns: int, most: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    for words in ([], *([name] for name in COMMANDS)):
        text = shown(capsys, *words)
        prose = [line for line in text.splitlines() if not line.startswith("    arranger ")]
        assert max(map(len, prose)) <= most, words
        assert not [line for line in prose if line.endswith("...") and "Usage" not in line], words
        assert not [line for line in prose if re.search(r"\w-$", line)], "broken inside a word"
    text = shown(capsys, "convert")
    assert max(map(len, text.splitlines())) > columns - 20 or columns == 200


def test_commands_and_options_stand_in_groups(capsys: pytest.CaptureFixture[str]) -> None:
    text = shown(capsys)
    titles = re.findall(r"^(\S.*):$", text, re.MULTILINE)
    assert titles == ["Options", *dict.fromkeys(COMMANDS.values())]
    for name, panel in COMMANDS.items():
        assert re.search(rf"^{panel}:\n(  .*\n)*  {name} +[A-Z]", text, re.MULTILINE), name
    text = shown(capsys, "convert")
    titles = re.findall(r"^(\S.*):$", text, re.MULTILINE)
    assert titles[0] == "Arguments"
    assert titles[-1] == "Options"
    assert len(titles) > 7
    for panel, option in (
        ("Files", "--audio KIND"),
        ("Where an edited sheet stands", "--keep-edits"),
        ("What is played", "--texture NAME"),
    ):
        assert re.search(rf"^{panel}:\n(  .*\n)*  ({option}|.*, {option})", text, re.MULTILINE)
    assert "    arranger convert parade.mid -o out\n" in text
