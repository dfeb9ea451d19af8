"""Intel HEX, read back by the PyPI package ``intelhex``."""

from __future__ import annotations

from io import StringIO

import pytest
from hypothesis import given
from hypothesis import strategies as st
from intelhex import IntelHex

from arranger.engine import load_engine
from arranger.machine.export_options import ExportOptions
from arranger.machine.exporters import export
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
