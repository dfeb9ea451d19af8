from __future__ import annotations

import pytest

from arranger.engine import builtin_engines, load_engine, parse_engine
from arranger.errors import EngineError


def test_the_two_z80_engines_are_built_in() -> None:
    assert {"twin-phase", "twin-counter"} <= set(builtin_engines())


@pytest.mark.parametrize("name", builtin_engines())
def test_a_built_in_engine_is_complete(name: str) -> None:
    engine = load_engine(name)
    assert engine.name == name
    assert list(engine.pitches) == list(range(engine.lowest, engine.highest + 1))
    cycles = [entry.cycles for entry in engine.step_lengths]
    assert cycles == sorted(set(cycles))


def test_an_unknown_name_lists_what_there_is() -> None:
    with pytest.raises(
        EngineError, match=r"no engine named 'loud'; choose one of .*twin-counter.* path"
    ):
        load_engine("loud")


def test_broken_toml_is_refused() -> None:
    with pytest.raises(EngineError, match="line 1"):
        parse_engine("name = \n")
