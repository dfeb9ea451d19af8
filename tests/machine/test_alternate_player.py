"""The PC player, assembled by NASM and run by unicorn against a timer counted in this test."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import unicorn
from hypothesis import given, settings
from hypothesis import strategies as st
from unicorn import x86_const as x86

from arranger.conversion import convert
from arranger.engine import Engine, load_engine
from arranger.engine.model import DrumPart, DrumSound
from arranger.errors import SheetError
from arranger.machine.alternate_player import PLAYER, SOURCE, assembly, binary
from arranger.rows import HOLD, REST
from arranger.settings import Settings
from arranger.sheet.passage import cut_bars
from arranger.song import read_song
from arranger.sound.alternate import divisor_runs
from tests.sound.sheets import sheet_of, sheets

if TYPE_CHECKING:
    from arranger.sheet.model import Sheet

ENGINE = load_engine("pc-alternate")
TICK = ENGINE.profile.loop.cycles
DEMO_SONGS = sorted((Path(__file__).parents[2] / "demo_songs").glob("*.mid"))
ACCESSES_A_WRITE = 20
"""From the moment a tick is due to the last port access that it causes, noticing it included."""
RETURN_AT = 0x500
REGISTERS = [
    getattr(x86, f"UC_X86_REG_{name}")
    for name in ("AX", "BX", "CX", "DX", "SI", "DI", "BP", "SP", "ES", "SS")
]  # fmt: skip


@dataclass
class Machine:
    """A CPU, channel 0 of a timer in mode 2, and a record of what is written to the speaker."""

    code: bytes
    address: int = 0x7C13
    port_b: int = 0xAC
    stop_after_clocks: int | None = None
    """When a key is pressed."""
    access_clocks: int = 11
    """Timer clocks that a port access takes: 11 are 9 microseconds, a slow machine's."""
    clocks: int = 0
    started: int = 0
    latch: list[int] = field(default_factory=list)
    halves: list[int] = field(default_factory=list)
    events: list[tuple[str, int, int]] = field(default_factory=list)
    control: list[int] = field(default_factory=list)
    before: list[int] = field(default_factory=list)
    after: list[int] = field(default_factory=list)

    def run(self) -> None:
        cpu = unicorn.Uc(unicorn.UC_ARCH_X86, unicorn.UC_MODE_16)
        cpu.mem_map(0, 0x100000)
        cpu.mem_write(self.address, self.code)
        cpu.mem_write(0x41A, bytes((0x1E, 0, 0x1E, 0)))
        cpu.hook_add(unicorn.UC_HOOK_INSN, self._in, None, 1, 0, x86.UC_X86_INS_IN)
        cpu.hook_add(unicorn.UC_HOOK_INSN, self._out, None, 1, 0, x86.UC_X86_INS_OUT)
        for number, register in enumerate(REGISTERS[:7]):
            cpu.reg_write(register, 0x1234 + number)
        cpu.reg_write(x86.UC_X86_REG_SP, 0x4000)
        cpu.mem_write(0x4000, RETURN_AT.to_bytes(2, "little"))
        self.before = [cpu.reg_read(register) for register in REGISTERS]
        self.before[7] += 2  # what a return takes from the stack
        cpu.emu_start(self.address, RETURN_AT, timeout=60 * unicorn.UC_SECOND_SCALE)
        assert cpu.reg_read(x86.UC_X86_REG_IP) == RETURN_AT
        self.after = [cpu.reg_read(register) for register in REGISTERS]

    def _in(self, cpu: unicorn.Uc, port: int, _size: int, _data: object) -> int:
        self.clocks += self.access_clocks
        if self.stop_after_clocks is not None and self.clocks > self.stop_after_clocks:
            cpu.mem_write(0x41C, bytes((0x20, 0)))
        if port == 0x40:
            return self.latch.pop(0)
        assert port == 0x61
        return self.port_b

    def _out(self, _cpu: unicorn.Uc, port: int, _size: int, value: int, _data: object) -> None:
        self.clocks += self.access_clocks
        if port == 0x43:
            if value == 0:  # latch channel 0
                count = (self.started - self.clocks) & 0xFFFF
                self.latch = [count & 0xFF, count >> 8]
            else:
                self.control.append(value)
                self.halves = []
        elif port == 0x40:
            assert value == 0
            self.started = self.clocks
        elif port == 0x42:
            self.halves.append(value)
            if len(self.halves) == 2:
                self._note("count", self.halves[0] | self.halves[1] << 8)
                self.halves = []
        else:
            assert port == 0x61
            assert value & 0xFC == self.port_b & 0xFC
            if (value ^ self.port_b) & 2:
                self._note("speaker", value >> 1 & 1)
            self.port_b = value

    def _note(self, what: str, value: int) -> None:
        if 0x34 not in self.control:
            self.events.append((what, -1, value))
            return
        tick, late = divmod(self.clocks - self.started, TICK)
        assert late < ACCESSES_A_WRITE * self.access_clocks
        self.events.append((what, tick, value))


def schedule(sheet: Sheet, engine: Engine) -> list[tuple[str, int, int]]:
    """Return what must be written in which tick: a new count, the speaker on (1) or off (0)."""
    runs = divisor_runs(sheet, engine)
    count = next((divisor for _, divisor in runs if divisor), 2)
    events = [("count", -1, count)]
    speaking = 0
    tick = 0
    for ticks, divisor in runs:
        if divisor not in (0, count):
            count = divisor
            events.append(("count", tick, count))
        if bool(divisor) != speaking:
            speaking = int(bool(divisor))
            events.append(("speaker", tick, speaking))
        tick += ticks
    if speaking:
        events.append(("speaker", tick, 0))
    return events


@settings(max_examples=12)
@given(sheets(ENGINE, max_steps=8))
def test_the_emulated_port_writes_are_the_schedule(sheet: Sheet) -> None:
    once = sheet_of(ENGINE, list(sheet.voice1), list(sheet.voice2), list(sheet.drums))
    machine = Machine(binary(once, ENGINE))
    machine.run()
    assert machine.events == schedule(once, ENGINE)
    assert machine.control == [0xB6, 0x34, 0x36]
    assert machine.port_b == 0xAC
    assert machine.after == machine.before


@pytest.mark.parametrize("song", DEMO_SONGS, ids=lambda path: path.stem)
def test_the_demo_songs_are_played_as_computed(song: Path) -> None:
    sheet = convert(read_song(song), ENGINE, Settings(engine=ENGINE.name)).sheet
    sheet = cut_bars(sheet, 1, 2)
    machine = Machine(binary(sheet, ENGINE), access_clocks=50)
    machine.run()
    assert machine.events == schedule(sheet, ENGINE)
    assert len(machine.events) > 10


@pytest.mark.parametrize("drum", [drum.name for drum in ENGINE.drums])
def test_every_drum_is_played_as_computed(drum: str) -> None:
    sheet = sheet_of(ENGINE, [REST, 60], [REST, 43], [None, drum], length=159)
    machine = Machine(binary(sheet, ENGINE))
    machine.run()
    assert machine.events == schedule(sheet, ENGINE)


LENGTHS = st.sampled_from([0, 1, TICK - 1, TICK, TICK + 1, 5 * TICK, 30 * TICK])
PARTS = st.builds(DrumPart, st.just("rest"), st.just(()), LENGTHS) | st.builds(
    DrumPart,
    st.sampled_from(["kick", "noise"]),
    st.sampled_from([(2, 0), (110, 127), (4000, 350), (0x7FFF, 0x8000), (0xFFF0, 15)]),
    LENGTHS,
)
HITS = st.lists(st.lists(PARTS, min_size=1, max_size=4), min_size=1, max_size=4)


@settings(max_examples=12)
@given(HITS, st.booleans(), st.booleans())
def test_drums_of_any_parts_are_played_as_computed(
    hits: list[list[DrumPart]], takes_step: bool, both: bool
) -> None:
    drums = tuple(DrumSound(f"d{i}", (), 1.0, tuple(parts)) for i, parts in enumerate(hits))
    engine = replace(ENGINE, drums=drums, drum_takes_step=takes_step)
    names = [None, *(drum.name for drum in drums)]
    tune = [60 + step for step in range(len(names))]
    sheet = sheet_of(engine, tune, [43] * len(names) if both else None, names)
    machine = Machine(binary(sheet, engine))
    machine.run()
    assert machine.events == schedule(sheet, engine)


def test_a_piece_of_too_many_parts_is_refused() -> None:
    parts = (DrumPart("kick", (4000, 350), TICK),) * 2
    names = [f"d{number}" for number in range(129)]
    engine = replace(ENGINE, drums=tuple(DrumSound(name, (), 1.0, parts) for name in names))
    binary(sheet_of(engine, [REST] * 128, drums=[*names[:128]]), engine)
    with pytest.raises(SheetError, match="more than 255 parts"):
        binary(sheet_of(engine, [REST] * 129, drums=[*names]), engine)


def test_a_key_ends_a_piece_that_goes_round() -> None:
    sheet = sheet_of(ENGINE, [60, 64, HOLD], loop_step=1)
    whole = 3 * ENGINE.step_lengths[0].cycles
    machine = Machine(binary(sheet, ENGINE), address=0x9001, stop_after_clocks=3 * whole)
    machine.run()
    # It goes round to E4, which it holds already: nothing new is written until the key.
    c4, e4 = (ENGINE.pitches[midi].setting for midi in (60, 64))
    assert [event for event in machine.events if event[0] == "count"] == [
        ("count", -1, c4),
        ("count", 24, e4),
    ]
    assert machine.events[-1][0] == "speaker"
    assert 3 * whole < machine.clocks < 4 * whole
    assert machine.port_b == 0xAC


def test_the_source_assembles_to_the_bytes(tmp_path: Path) -> None:
    sheet = sheet_of(ENGINE, [60, 64, HOLD], [36, REST, REST], ["kick", None, "snare"])
    (tmp_path / "piece.asm").write_text(assembly(sheet, ENGINE))
    for source, expected in (
        (tmp_path / "piece.asm", binary(sheet, ENGINE)),
        (SOURCE, PLAYER),
    ):
        target = tmp_path / "out.bin"
        subprocess.run(["nasm", "-w+all", "-f", "bin", source, "-o", target], check=True)
        assert target.read_bytes() == expected


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(SheetError, match="the song data takes 60046 bytes, and 59578 are free"):
        binary(sheet_of(ENGINE, [60] * 20_000), ENGINE)


def test_the_engine_states_the_size_of_its_player() -> None:
    assert ENGINE.code_bytes == len(PLAYER)
