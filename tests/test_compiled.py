"""Modules in C: each is known by its source, and one that was built from another isn't used."""

from __future__ import annotations

import sys
import zlib
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

from arranger.compiled import compiled

ROOT = Path(__file__).parent.parent
USERS = {
    "arranger.grid.track._follow": "arranger.grid.track.follow",
    "arranger.machine._phrases": "arranger.machine.phrases",
    "arranger.reduce.choose._optimum": "arranger.reduce.choose.optimum",
    "arranger.reduce.choose._prices": "arranger.reduce.choose.price",
    "arranger.reduce.choose._turns": "arranger.reduce.choose.turns",
    "arranger.reduce.tell._account": "arranger.reduce.tell.told",
    "arranger.reduce.worth._reading": "arranger.reduce.worth.tune_model",
    "arranger.song.midi._events": "arranger.song.midi.events",
    "arranger.sound._mixing": "arranger.sound.mixing",
}


def test_all_sources_are_here() -> None:
    found = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for path in ROOT.glob("arranger/**/_*.c")
    }
    assert found == set(USERS)


@pytest.mark.parametrize("name", USERS)
def test_what_is_compiled_is_of_the_source_that_is_here_and_used(name: str) -> None:
    lines = ROOT.joinpath(*name.split(".")).with_suffix(".c").read_text().splitlines(keepends=True)
    rest = "".join(line for line in lines if not line.startswith("#define SOURCE "))
    source = f"{zlib.crc32(rest.encode()):08x}"
    assert f'#define SOURCE "{source}"\n' in lines
    module = compiled(name, source)
    assert module is not None
    assert import_module(USERS[name])._compiled is module


def test_one_of_another_source_counts_as_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    name = "arranger.grid.track._follow"
    monkeypatch.setitem(sys.modules, name, ModuleType(name, "00000000"))
    assert compiled(name, "00000000") is not None
    assert compiled(name, "4d51ca55") is None
    monkeypatch.setitem(sys.modules, name, ModuleType(name))  # as before sources were known
    assert compiled(name, "4d51ca55") is None
    monkeypatch.setitem(sys.modules, name, None)
    assert compiled(name, "4d51ca55") is None
