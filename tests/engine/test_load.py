from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from arranger.engine import builtin_engines, load_engine, parse_engine
from arranger.engine.load import builtin_text
from arranger.errors import EngineError

SONG = Path(__file__).parents[2] / "demo_songs" / "boat_parade.mid"


def test_the_two_z80_engines_are_built_in() -> None:
    assert {"twin-phase", "twin-counter"} <= set(builtin_engines())


@pytest.mark.parametrize("name", builtin_engines())
def test_a_built_in_engine_is_complete(name: str) -> None:
    engine = load_engine(name)
    assert engine.name == name
    assert list(engine.pitches) == list(range(engine.lowest, engine.highest + 1))
    cycles = [entry.cycles for entry in engine.step_lengths]
    assert cycles == sorted(set(cycles))


@pytest.mark.parametrize("name", builtin_engines())
def test_a_built_in_engine_would_pass_every_check(name: str) -> None:
    # It is loaded without any; repr tells 1 from 1.0 and a list from a tuple.
    assert repr(parse_engine(builtin_text(name))) == repr(load_engine(name))


def test_converting_with_a_built_in_engine_imports_nothing_heavy_in_vain(tmp_path: Path) -> None:
    program = (
        "import sys\n"
        "from arranger.cli.app import run\n"
        f"run(['convert', {str(SONG)!r}, '-o', {str(tmp_path)!r}, '--no-audio'])\n"
        "print(*{'pydantic', 'music21', 'rich', 'mido', 'numpy.ma'} & set(sys.modules))"
    )
    said = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=60
    )
    assert said.stdout.splitlines()[-1] == "", said.stderr


def test_an_unknown_name_lists_what_there_is() -> None:
    with pytest.raises(
        EngineError, match=r"no engine named 'loud'; choose one of .*twin-counter.* path"
    ):
        load_engine("loud")


def test_broken_toml_is_refused() -> None:
    with pytest.raises(EngineError, match="line 1"):
        parse_engine("name = \n")
