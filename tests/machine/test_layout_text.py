"""Song data as text are the same bytes, to assemblers and to a C compiler."""

from __future__ import annotations

import shutil
import subprocess
from typing import TYPE_CHECKING, Any

import pytest

from arranger.machine.export_options import ExportOptions
from arranger.machine.exporters import export
from arranger.rows import HOLD, REST
from tests.machine.test_layout import PLAIN, SILENT, bars_of, data, engine_of, value
from tests.sound.sheets import sheet_of

if TYPE_CHECKING:
    from pathlib import Path

TABLE: dict[str, Any] = {
    "base": 0x9000,
    "header": ["count", value("order_address", 16), value("loop_address", 16)],
    "order": [value("pattern_address", 16)],
    "event": ["length", "voice1", "voice2", "drum"],
    "pattern_end": [0],
    "end": [0, 0],
}
SHEET = sheet_of(
    PLAIN, [60, *[HOLD] * 30, 62, REST, 72], [48, 50] * 17, ["kick", *[None] * 32, "snare"],
    title='"Quay" */ é', loop_step=8,
)  # fmt: skip


def written(form: str, **text: Any) -> bytes:
    table = {**TABLE, "form": form, "text": text}
    return export(SHEET, engine_of(table), "data", ExportOptions())


@pytest.mark.parametrize(
    ("assembler", "bytes_", "words", "hex_"),
    [
        ("z80asm", "defb", "defw", "0x12"),
        ("z80asm", "db", "dw", "$12"),
        ("z80asm", "db", "defw", "12h"),
        ("pasmo", "defb", "dw", "18"),
        ("pasmo", "db", "dw", "#12"),
        ("pasmo", "db", "defw", "&12"),
    ],
)
def test_assemblers_make_the_same_bytes(
    assembler: str, bytes_: str, words: str, hex_: str, tmp_path: Path
) -> None:
    if shutil.which(assembler) is None:
        pytest.skip(f"{assembler} is not installed")
    text = written("assembly", bytes=bytes_, words=words, hex=hex_)
    assert f"        {words} quay_e_order, quay_e_loop\n".encode() in text
    source = tmp_path / "piece.asm"
    # The data alone can't say where they lie; the program that takes them in does.
    source.write_bytes(b"        org 0x9000\n" + text)
    target = tmp_path / "piece.bin"
    files = ["-o", target, source] if assembler == "z80asm" else [source, target]
    done = subprocess.run([assembler, *files], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert target.read_bytes() == written("bytes")


def test_an_assembler_with_other_words_makes_the_same_bytes(tmp_path: Path) -> None:
    """GNU as, for any processor whose words have the low byte first."""
    if shutil.which("as") is None:
        pytest.skip("as is not installed")
    text = written("assembly", bytes=".byte", words=".short", hex="0x12", comment="#")
    (tmp_path / "piece.s").write_bytes(text)
    subprocess.run(["as", "-o", "piece.o", "piece.s"], cwd=tmp_path, check=True)
    link = ["ld", "-Ttext", "0x9000", "-e", "0", "--oformat", "binary", "-o", "piece", "piece.o"]
    subprocess.run(link, cwd=tmp_path, check=True)
    assert (tmp_path / "piece").read_bytes() == written("bytes")


def test_an_address_that_is_changed_or_packed_is_a_number() -> None:
    table = {
        "header": [value("music_address", 16, add=1), {"number": 3, "bits": 4}, value("end_address", 12)],
        "step": ["voice1", "voice2", "drum"], "form": "assembly",
    }  # fmt: skip
    content = export(SHEET, engine_of(table), "data", ExportOptions())
    assert b"quay_e_header:\n        defb 0x05, 0x00, 0x6A, 0x30\n" in content
    steps = [line for line in content.splitlines() if b"defb" in line][1:]
    assert len(steps) == 8
    assert all(line.count(b"0x") % 3 == 0 for line in steps), "no record is torn apart"


def test_a_label_may_do_without_its_colon() -> None:
    text = written("assembly", colon=False)
    assert b"\nquay_e_order\n" in text
    assert b"\nquay_e_order:\n" in written("assembly")
    assert text.isascii()


def test_c_is_the_same_bytes(tmp_path: Path) -> None:
    (tmp_path / "piece.h").write_bytes(written("c"))
    (tmp_path / "say.c").write_text(
        '#include <stdio.h>\n#include "piece.h"\n'
        "int main(void) {\n"
        "    fwrite(quay_e_data, 1, sizeof quay_e_data, stdout);\n"
        "    return quay_e_data[QUAY_E_MUSIC] == 1 ? 0 : 1;\n}\n"
    )
    strict = ["gcc", "-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror"]
    subprocess.run([*strict, "say.c", "-o", "say"], cwd=tmp_path, check=True)
    said = subprocess.run([tmp_path / "say"], capture_output=True, check=True)
    assert said.stdout == written("bytes")


def test_a_source_names_bars_and_has_lines_of_sixteen_bytes() -> None:
    """A pattern says eight of its bars; by hand: C4 counts 56 passes, D4 50, E4 44."""
    sheet = bars_of(sheet_of(PLAIN, [60, 62] * 9 + [64] * 18, title="Tide"), *[2] * 9, 9, 9)
    table: dict[str, Any] = {
        "header": [value("music_address", 16)], "order": ["pattern"], "end": [255],
        "step": ["voice1", "voice2"], "pattern_end": [254], "form": "assembly", **SILENT,
    }  # fmt: skip
    text = data({**table, "base": 0x900}, sheet).decode().splitlines()
    nine = [f"        defb 0x00{' ' * 34}; bar {number}" for number in range(1, 10)]
    two = [f"        defb 0x01{' ' * 34}; bar {number}" for number in (10, 11)]
    sixteen = ", ".join(["0x2C, 0x00"] * 8)
    assert text == [
        "; Tide: 38 bytes, written by arranger.",
        "; Its first byte belongs at 0x0900.",
        "tide_header:",
        "        defw tide_music",
        "tide_order:",
        *nine,
        *two,
        f"        defb 0xFF{' ' * 34}; the piece ends",
        "tide_music:",
        "tide_pattern_0:",
        f"        defb 0x38, 0x00, 0x32, 0x00, 0xFE{' ' * 10}; bar 1, 2, 3, 4, 5, 6, 7, 8 ...",
        "tide_pattern_1:",
        f"        defb {sixteen} ; bar 10, 11",
        "        defb 0x2C, 0x00, 0xFE",
        "tide_end:",
    ]
    for more, said in (({}, False), ({"align": {"music": 4}}, True)):
        assert (b"belongs at 0x0000." in data({**table, **more}, sheet)) == said
    eight = data(table, bars_of(sheet_of(PLAIN, [60] * 8), *[1] * 8))
    assert b"; bar 1, 2, 3, 4, 5, 6, 7, 8\n" in eight
    rows = data({**table, "form": "c"}, sheet).decode().splitlines()
    assert [row.count("0x") for row in rows if row.startswith("    0x")] == [2] + [1] * 12 + [
        5,
        16,
        3,
    ]
