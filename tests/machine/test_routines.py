"""Three invented routines, each described by a TOML file alone, play what is exported for them.

Their players are in `routines`: assembled here, run on an emulated Z80, and compared with the render
of the same sheet, edge by edge.
"""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.machine.export_options import ExportOptions
from arranger.machine.exporters import export
from arranger.rows import HOLD, REST, tones
from arranger.sheet.model import SheetBar
from arranger.sheet.played import step_length
from arranger.sound import edges
from tests.machine.z80_machine import Computer
from tests.sound.sheets import sheet_of, sheets

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.sheet.model import Sheet

FOLDER = Path(__file__).parent / "routines"
ENGINES = {
    name: load_engine(FOLDER / f"{name}.toml") for name in ("compiled", "patterns", "events")
}
ORIGIN = 0x8000
STARTS = {"compiled": 0x8020, "patterns": ORIGIN, "events": ORIGIN}
SONG = 0x9000

LATE_CYCLES = {"compiled": 0, "patterns": 0, "events": 600}
"""By how much an event is late at most, more than the one before: `overhead_cycles` is exact, or not."""
LOOP_CYCLES = {"compiled": 10, "patterns": 0, "events": 0}
"""How long it takes to go back to the loop, at most: a jump."""
LAST_WRITE_CYCLES = 300
"""By how much the write that leaves the pin low may be early."""

each_routine = pytest.mark.parametrize("name", ENGINES)


def assembled(assembler: str, source: Path) -> bytes:
    with TemporaryDirectory() as folder:
        target = Path(folder) / "made"
        words = {"z80asm": ["-o", target, source], "pasmo": [source, target]}[assembler]
        done = subprocess.run([assembler, *words], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr
        return target.read_bytes()


@cache
def player(name: str) -> bytes:
    found = [each for each in ("z80asm", "pasmo") if shutil.which(each)]
    if not found:
        pytest.skip("neither z80asm nor pasmo is installed")
    first, *others = (assembled(each, FOLDER / f"{name}.asm") for each in found)
    assert all(other == first for other in others)
    return first


def computer(name: str, sheet: Sheet) -> Computer:
    machine = Computer(ORIGIN, player(name))
    song = export(sheet, ENGINES[name], "data", ExportOptions())
    machine.machine.set_memory_block(SONG, song)
    return machine


def rendered(name: str, sheet: Sheet) -> tuple[NDArray[np.int64], list[int]]:
    blocks = list(edges(sheet, ENGINES[name]))
    cycles = np.concatenate([np.empty(0, np.int64), *(block for block, _ in blocks)])
    return cycles, [int(level) for _, levels in blocks for level in levels]


def assert_plays(name: str, sheet: Sheet) -> None:
    call = computer(name, sheet).call(STARTS[name], most_cycles=200_000_000)
    assert call.returned
    cycles, levels = call.changes(int(call.write_cycles[0]))
    expected, expected_levels = rendered(name, sheet)
    assert levels == expected_levels
    if not levels:
        return
    late = np.array(cycles) - expected
    # So many events have been read at most: one a step.
    read = 1 + expected // step_length(sheet, ENGINES[name]).cycles
    assert (late[:-1] >= 0).all()
    assert (late[:-1] <= LATE_CYCLES[name] * read[:-1]).all()
    assert late[-1] >= -LAST_WRITE_CYCLES


def piece(name: str) -> Sheet:
    """Return four bars, the first and the third alike, with drums where the routine has any."""
    engine = ENGINES[name]
    tune = [60, HOLD, 64, REST, 67, HOLD]
    voice1 = [*tune, HOLD, HOLD, 69, HOLD, 72, 60, *tune, 62, *[HOLD] * 5]
    bass = [48, HOLD, 50, 50, HOLD, 53]
    names = [drum.name for drum in engine.drums] or [None]
    hits: list[str | None] = [names[0], None, None, names[-1], None, names[0]]
    drums = [*hits, *[None] * 6, *hits, *[None] * 6]
    sheet = sheet_of(
        engine, voice1, [*bass, REST, *bass[1:], *bass, *bass], drums,
        length=engine.step_lengths[2].setting,
    )  # fmt: skip
    return replace(sheet, bars=tuple(SheetBar(number, 6, 6, 4) for number in (1, 2, 3, 4)))


@each_routine
def test_a_routine_of_ones_own_sounds_as_rendered(name: str) -> None:
    assert_plays(name, piece(name))


@each_routine
@settings(max_examples=12, phases=(Phase.explicit, Phase.generate))
@given(st.data())
def test_any_sheet_sounds_as_rendered(name: str, data: st.DataObject) -> None:
    sheet = data.draw(sheets(ENGINES[name], max_steps=12))
    assert_plays(name, replace(sheet, loop_step=None))


@each_routine
@pytest.mark.parametrize("loop_step", [0, 6, 18])
def test_a_loop_goes_on_as_rendered(name: str, loop_step: int) -> None:
    sheet = piece(name)
    # Written out, the tones anew at the loop: what sounds there does so again.
    rows = [tuple(REST if t is None else t for t in tones(r)) for r in (sheet.voice1, sheet.voice2)]
    rounds = replace(
        sheet,
        voice1=rows[0] + 2 * rows[0][loop_step:],
        voice2=rows[1] + 2 * rows[1][loop_step:],
        drums=sheet.drums + 2 * sheet.drums[loop_step:],
        bars=(SheetBar(1, 3 * sheet.steps - 2 * loop_step, 4, 4),),
    )
    expected, levels = rendered(name, rounds)
    machine = computer(name, replace(sheet, loop_step=loop_step))
    call = machine.call(STARTS[name], most_cycles=int(expected[-1]))
    assert not call.returned
    cycles, found = call.changes(int(call.write_cycles[0]))
    assert found == levels[: len(found)]
    late = np.array(cycles) - expected[: len(found)]
    assert len(found) > 0.95 * len(levels)
    assert late.max() <= LATE_CYCLES[name] * rounds.steps + 2 * LOOP_CYCLES[name]


@each_routine
def test_a_description_says_how_long_the_routine_is(name: str) -> None:
    assert len(player(name)) == ENGINES[name].code_bytes


def test_a_core_of_32_bytes_is_enough() -> None:
    assert STARTS["compiled"] - ORIGIN == 32


def test_two_bytes_a_step_are_enough() -> None:
    sheet = sheet_of(ENGINES["patterns"], [60, *[62, 64] * 50])
    content = export(sheet, ENGINES["patterns"], "data", ExportOptions())
    assert len(content) == 3 + 2 + 4 + 2 * sheet.steps + 1
