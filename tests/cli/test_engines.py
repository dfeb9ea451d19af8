from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from arranger.cli.app import app
from arranger.engine import load_engine
from arranger.errors import EngineError

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, ["engines", *map(str, words)])


def test_the_list_names_every_engine() -> None:
    lines = run().stdout.splitlines()
    assert [line.split()[0] for line in lines] == ["pc-alternate", "twin-counter", "twin-phase"]


def test_an_engine_is_shown_with_pitches_steps_drums_and_memory() -> None:
    said = run("pc-alternate").stdout
    # By hand: 1,193,182 / 2712 = 439.96 Hz, 1200 * log2(439.96 / 440) = -0.14 cents.
    assert "  A4       69     2712   439.96  -0.1" in said
    # By hand: 48 * 1243 clocks of 1,193,182 Hz are 50.00 ms: 300 quarters a minute at 1/4.
    assert "     48    59664    50.00     600.0     400.0     300.0" in said
    assert "  kick            34       1  kick 5000 280 " in said
    assert "Memory: 60,000 bytes, of which the player takes 863" in said


def test_json_says_the_same() -> None:
    values = json.loads(run("pc-alternate", "--json").stdout)
    a4 = next(pitch for pitch in values["pitches"] if pitch["name"] == "A4")
    assert a4["setting"] == 2712
    assert a4["cents"] == pytest.approx(-0.14, abs=0.01)
    assert [entry["setting"] for entry in values["step_lengths"]][:3] == [24, 25, 26]
    listed = json.loads(run("--json").stdout)
    assert values in listed


def test_a_new_engine_can_be_written_and_shown(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    assert run("new", path).exit_code == 0
    said = run(path).stdout
    assert said.startswith("mine: My own routine")
    assert "player: a routine of your own" in said


def test_a_new_engine_can_be_given_a_gap_as_its_file_says(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    run("new", path)
    said = 'kind = "rest", percussion_keys = [], weight = 0.0'
    assert said in path.read_text()
    lines = ["", "[[drum]]", 'name = "gap"', *said.split(", "), "settings = []", "cycles = 26_000"]
    path.write_text(path.read_text() + "\n".join(lines) + "\n")
    gap = load_engine(str(path)).gap
    assert gap is not None
    assert gap.name == "gap"


@pytest.mark.parametrize("words", [("new",), ("twin-phase", "file.toml")])
def test_wrong_usage_is_told_apart(words: tuple[str, ...]) -> None:
    result = run(*words)
    assert result.exit_code == 2
    assert "arranger engines new FILE.toml" in result.output


def test_an_unknown_engine_is_an_error_with_a_hint() -> None:
    error = run("twin-fase").exception
    assert isinstance(error, EngineError)
    assert "did you mean 'twin-phase'?" in str(error)
