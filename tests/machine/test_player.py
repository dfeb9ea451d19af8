"""The player on an emulated Z80 against the computed signal, cycle by cycle: no tolerance."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.machine import binary
from arranger.machine.player import FIRST_WRITE_CYCLES
from arranger.rows import HOLD, REST
from arranger.sheet.model import Sheet, SheetBar
from arranger.sheet.passage import go_round
from arranger.sound.schedule import total_cycles
from arranger.sound.signal import edges
from tests.machine.z80_machine import Computer
from tests.sound.sheets import sheet_of, sheets

if TYPE_CHECKING:
    from arranger.engine.model import Engine

ENGINES = [load_engine("twin-phase"), load_engine("twin-counter")]
DEMO_SONGS = sorted((Path(__file__).parents[2] / "demo_songs").glob("*.mid"))
each_engine = pytest.mark.parametrize("engine", ENGINES, ids=lambda engine: engine.name)


def computed(sheet: Sheet, engine: Engine) -> tuple[list[int], list[int]]:
    """Return the computed changes of the pin."""
    blocks = list(edges(sheet, engine))
    return (
        [cycle for cycles, _ in blocks for cycle in cycles.tolist()],
        [level for _, levels in blocks for level in levels.tolist()],
    )


def assert_emulation_agrees(sheet: Sheet, engine: Engine) -> None:
    """Play a sheet to its end, or twice round its loop, and compare every change of the pin."""
    image = binary(sheet, engine)
    computer = Computer(image.origin, image.content)
    computer.machine.memory[image.entry_points["border"]] = 0b1101
    played = go_round(sheet, 1 if sheet.loop_step is None else 3)
    end = total_cycles(played, engine)
    call = computer.call(image.entry_points["start"], most_cycles=FIRST_WRITE_CYCLES + end + 2000)
    assert call.returned == (sheet.loop_step is None)
    assert not computer.other_ports
    assert set((call.values & ~0x10).tolist()) == {0b1101}
    emulated = call.changes(FIRST_WRITE_CYCLES)
    expected = computed(played, engine)
    if sheet.loop_step is not None:
        # It goes on for ever; the computed signal ends after the rounds.
        emulated, expected = (
            tuple(
                zip(
                    *((cycle, level) for cycle, level in zip(*found, strict=True) if cycle < end),
                    strict=True,
                )
            )
            for found in (emulated, expected)
        )
    assert emulated == expected


@each_engine
def test_every_drum_sound(engine: Engine) -> None:
    drums = [name for drum in engine.drums for name in (drum.name, None)]
    steps = len(drums)
    sheet = sheet_of(engine, [60, *[HOLD] * (steps - 1)], [43, *[HOLD] * (steps - 1)], drums)
    assert_emulation_agrees(sheet, engine)
    assert_emulation_agrees(replace(sheet, step_setting=engine.step_lengths[30].setting), engine)


@each_engine
def test_every_pitch(engine: Engine) -> None:
    pitches = sorted(engine.pitches)
    assert_emulation_agrees(sheet_of(engine, pitches, pitches[::-1]), engine)


@each_engine
def test_every_step_length(engine: Engine) -> None:
    for length in engine.step_lengths[::5]:
        sheet = sheet_of(
            engine, [72, HOLD, REST], [48, 50, HOLD], [None, "kick", None],
            step_setting=length.setting,
        )  # fmt: skip
        assert_emulation_agrees(sheet, engine)


@each_engine
def test_long_tones_and_rests(engine: Engine) -> None:
    row = [60, *[HOLD] * 150, *[REST] * 60, 62]
    assert_emulation_agrees(sheet_of(engine, row), engine)
    assert_emulation_agrees(sheet_of(engine, [REST] * 3), engine)


@pytest.mark.parametrize("engine", ENGINES, ids=lambda engine: engine.name)
@settings(max_examples=12, deadline=None)
@given(data=st.data())
def test_random_sheets_and_loops(engine: Engine, data: st.DataObject) -> None:
    sheet = data.draw(sheets(engine))
    cuts = data.draw(st.lists(st.integers(1, 6), min_size=1, max_size=24))
    bars = []
    left = sheet.steps
    for number, cut in enumerate(cuts, 1):
        steps = min(cut, left) if number < len(cuts) else left
        if steps:
            bars.append(SheetBar(number, steps, steps, 4))
            left -= steps
    assert_emulation_agrees(replace(sheet, bars=tuple(bars)), engine)


@pytest.mark.parametrize("song", DEMO_SONGS, ids=lambda path: path.stem)
def test_demo_songs(song: Path) -> None:
    from arranger.conversion import convert
    from arranger.settings import Settings
    from arranger.song import read_song

    engine = ENGINES[DEMO_SONGS.index(song) % 2]
    sheet = convert(read_song(song), engine, Settings(engine=engine.name)).sheet
    assert_emulation_agrees(sheet, engine)


TUNE = [72, HOLD, 74, REST, 76, HOLD, HOLD, HOLD]
BASS = [48, HOLD, HOLD, 50, HOLD, REST, REST, 43]


@each_engine
def test_steps_one_at_a_time(engine: Engine) -> None:
    drums = [None, None, "kick", None, None, "hat", None, "snare"]
    sheet = sheet_of(engine, TUNE, BASS, drums)
    sheet = replace(sheet, bars=(SheetBar(1, 3, 3, 4), SheetBar(2, 5, 5, 4)))
    image = binary(sheet, engine)
    computer = Computer(image.origin, image.content)
    step = image.entry_points["step"]
    length = engine.step_lengths[0].cycles
    for _ in range(2):
        calls = [computer.call(step) for _ in range(len(TUNE))]
        assert [computer.machine.a] == [0]
        for call in calls:
            assert 0 < call.cycles - length < 2000
        assert min(len(call.changes(0)[0]) for call in calls) > 10
        ending = computer.call(step)
        assert computer.machine.a == 2
        assert ending.cycles < 2000


@each_engine
def test_steps_go_round_a_loop(engine: Engine) -> None:
    drums = [None, None, None, None, None, "kick", None, "snare"]
    image = binary(sheet_of(engine, TUNE, BASS, drums, loop_step=3), engine)
    computer = Computer(image.origin, image.content)
    calls = []
    for _ in range(18):
        calls.append(computer.call(image.entry_points["step"]))
        assert computer.machine.a == 0
    # Step 5 comes again as calls 10 and 15, step 7 as calls 12 and 17. A drum sounds alike each time;
    # the tones around it, a few writes, do not.
    heard = [
        list(zip(call.write_cycles.tolist(), call.values.tolist(), strict=True))[10:-4]
        for call in calls
    ]
    assert heard[5] == heard[10] == heard[15] != []
    assert heard[7] == heard[12] == heard[17] != heard[5]


@each_engine
def test_a_step_sounds_as_in_the_whole_piece(engine: Engine) -> None:
    """The tones of the second step go on from the first call to the second."""
    sheet = sheet_of(engine, [69, HOLD], [45, HOLD])
    image = binary(sheet, engine)
    computer = Computer(image.origin, image.content)
    whole = computed(sheet, engine)[0]
    first, second = (computer.call(image.entry_points["step"]) for _ in range(2))
    expected = engine.step_lengths[0].cycles
    begun = int(first.write_cycles[0]) + engine.profile.loop.cycles
    flips = first.changes(begun)[0]
    assert [cycle for cycle in flips if cycle < expected] == [
        cycle for cycle in whole if cycle < expected
    ]
    # Voice 2 has the pin at the end of the first call; it shows the same level in the second.
    assert second.values[1] == first.values[-1]


@each_engine
def test_a_key_stops_it_and_stop_silences(engine: Engine) -> None:
    sheet = sheet_of(engine, TUNE, BASS)
    image = binary(sheet, engine)
    computer = Computer(image.origin, image.content)
    step = engine.step_lengths[0].cycles
    # The key that called it is down for a while; another comes in the third step.
    computer.key_down = (0, 5000)
    begun = computer.call(image.entry_points["start"], most_cycles=5000 + 10 * step)
    assert begun.returned
    assert computer.machine.a == 2
    assert 5000 < begun.write_cycles[0] < 6000
    computer.key_down = (5 * step // 2, 10 * step)
    call = computer.call(image.entry_points["start"])
    assert call.returned
    assert computer.machine.a == 1
    # The keys are read when the next event begins.
    assert 0 < call.cycles - 3 * step < 3000
    assert call.values[-1] & 0x10 == 0
    computer.key_down = (0, 0)
    computer.call(image.entry_points["step"])
    call = computer.call(image.entry_points["stop"])
    assert call.values.tolist() == [0]
    assert computer.machine.memory[image.symbols["playing"]] == 0


@each_engine
@pytest.mark.parametrize("interrupts", [0, 1])
@pytest.mark.parametrize("entry", ["start", "step"])
def test_registers_and_interrupts_come_back(engine: Engine, interrupts: int, entry: str) -> None:
    image = binary(sheet_of(engine, TUNE, BASS, ["kick", *[None] * 7]), engine)
    computer = Computer(image.origin, image.content)
    machine = computer.machine
    machine.ix, machine.iy = 0x1234, 0x5678
    machine.alt_af, machine.alt_bc, machine.alt_de, machine.alt_hl = 0x9A28, 0xDEF0, 0x1357, 0x2468
    machine.iff1 = machine.iff2 = interrupts
    before = dict(computer.registers())
    computer.call(image.entry_points[entry])
    after = dict(computer.registers())
    assert after.pop("sp") == 0x7F00
    before.pop("sp")
    assert after == before


@each_engine
def test_it_runs_at_any_address_and_writes_nowhere_else(engine: Engine) -> None:
    sheet = sheet_of(engine, TUNE, BASS, ["kick", *[None] * 7], loop_step=None)
    reference = None
    for origin in (0x8000, 0x9ABC, 0xF000):
        image = binary(sheet, engine, origin)
        computer = Computer(origin, image.content)
        memory = bytes(computer.machine.memory)
        call = computer.call(image.entry_points["start"])
        after = bytes(computer.machine.memory)
        changed = np.flatnonzero(np.frombuffer(memory, np.uint8) != np.frombuffer(after, np.uint8))
        inside = (changed >= origin) & (changed < origin + image.code_bytes)
        stack = (changed >= 0x7F00 - 64) & (changed < 0x7F00)
        assert (inside | stack).all()
        changes = call.changes(FIRST_WRITE_CYCLES)
        assert reference in (None, changes)
        reference = changes
