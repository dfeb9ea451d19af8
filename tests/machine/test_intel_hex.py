"""Intel HEX, read back by the PyPI package ``intelhex``."""

from __future__ import annotations

import re
from io import StringIO

import pytest
from hypothesis import given
from hypothesis import strategies as st
from intelhex import IntelHex

from arranger.engine import load_engine
from arranger.machine.export_options import ExportOptions
from arranger.machine.exporters import export, export_notes
from arranger.machine.program_export import intel_hex
from tests.sound.sheets import sheet_of


def read(text: bytes) -> IntelHex:
    return IntelHex(StringIO(text.decode("ascii")))


@given(st.binary(min_size=1, max_size=100), st.integers(0, 0xFFFF))
def test_bytes_come_back_from_their_address(content: bytes, address: int) -> None:
    address = min(address, 0x10000 - len(content))
    found = read(intel_hex(content, address))
    assert found.minaddr() == address
    assert found.tobinstr() == content


@pytest.mark.parametrize("name", ["twin-phase", "twin-counter", "pc-alternate"])
def test_it_is_the_binary(name: str) -> None:
    engine = load_engine(name)
    sheet = sheet_of(engine, [60, 62], drums=["kick", None])
    options = ExportOptions(address=0xA000)
    found = read(export(sheet, engine, "hex", options))
    assert found.tobinstr() == export(sheet, engine, "binary", options)
    assert found.minaddr() == 0xA000


def test_a_record_has_sixteen_bytes() -> None:
    records = intel_hex(bytes(40), 0x8000).decode().splitlines()
    assert [record[:9] for record in records] == [
        ":10800000", ":10801000", ":08802000", ":00000001",
    ]  # fmt: skip


@pytest.mark.parametrize("name", ["twin-phase", "pc-alternate"])
def test_notes_say_the_first_and_the_last_address_and_what_is_free(name: str) -> None:
    engine = load_engine(name)
    sheet = sheet_of(engine, [60, 62], drums=["kick", None])
    options = ExportOptions(address=0xA000)
    size = len(export(sheet, engine, "binary", options))
    where, sizes, *_ = export_notes(sheet, engine, "binary", options)
    assert f"s 0xa000 to {0xA000 + size - 1:#06x}" in where
    assert sizes.endswith(f"; {engine.memory_bytes - size:,} of {engine.memory_bytes:,} bytes free")
    player, song = (
        int(part.replace(",", "")) for part in re.findall(r"[a-z] ([0-9,]+[0-9])", sizes)[:2]
    )
    assert player + song == size


def test_a_program_says_where_its_block_begins() -> None:
    engine = load_engine("pc-alternate")
    notes = export_notes(sheet_of(engine, [60]), engine, "binary", ExportOptions())
    assert notes[2] == "the same player and song begin at 0x0109; --address writes them alone"
