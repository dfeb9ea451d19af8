"""The PC player, assembled by NASM and run on an emulated CPU with a timer counted in the tests."""

from __future__ import annotations

import platform
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.conversion import convert
from arranger.engine import Engine, load_engine
from arranger.engine.model import DrumSound
from arranger.engine.profile import DrumPart
from arranger.errors import SettingsError, SheetError
from arranger.machine.alternate_player import (
    PLAYER,
    PROGRAM,
    PROGRAM_ORIGIN,
    alternate_source,
    binary,
    entry_points,
)
from arranger.rows import HOLD, REST
from arranger.settings import Settings
from arranger.sheet.excerpt import cut_bars
from arranger.song import read_song
from arranger.sound import edges
from tests.machine.pc_machine import Pc, differences
from tests.sound.sheets import sheet_of, sheets

if TYPE_CHECKING:
    from arranger.sheet.model import Sheet

ENGINE = load_engine("pc-alternate")
TICK = ENGINE.profile.loop.cycles
DEMO_SONGS = [
    Path(__file__).parents[2] / "demo_songs" / f"{name}.mid"
    for name in ("boat_parade", "gangway_shuffle", "lantern_hymn")
]
AT = 0x7C13
START, STEP, STOP = (near for _, near, _ in entry_points(AT))

AT_ONCE = {"access_clocks": 1}
"""A processor that only waits for its ports: a port access takes 0.8 microseconds."""
SLOW = {"access_clocks": 2, "instruction_quarters": 4}
"""Some 8 MHz: an instruction takes 0.8 microseconds, a port access 1.7 more."""
SLOWEST = {"access_clocks": 4, "instruction_quarters": 16}
"""Some 5 MHz and a bus of 8 bits: an instruction takes 3.4 microseconds, a port access 3.4 more."""
BOUND, SLOW_BOUND, SLOWEST_BOUND = 20, 120, 400
"""Clocks for which the pin may differ from the render's at a time."""


def rendered(sheet: Sheet, engine: Engine = ENGINE) -> list[tuple[int, int]]:
    """Return the pin's changes as they are heard."""
    return [
        (int(clock), int(level))
        for clocks, levels in edges(sheet, engine)
        for clock, level in zip(clocks, levels, strict=True)
    ]


def furthest(pc: Pc, sheet: Sheet, engine: Engine = ENGINE) -> int:
    """Return for how many clocks at most the pin was another than the render's."""
    return int(max(differences(pc.edges(), rendered(sheet, engine)), default=0))


def again(sheet: Sheet, times: int) -> Sheet:
    """Return a sheet that goes round so often, written out."""
    first = sheet.loop_step or 0
    rows = (list(row) for row in (sheet.voice1, sheet.voice2, sheet.drums))
    return sheet_of(ENGINE, *(row + times * row[first:] for row in rows), length=sheet.length)  # type: ignore[arg-type]


@settings(max_examples=8)
@given(sheets(ENGINE, max_steps=8), st.sampled_from([AT_ONCE, {**AT_ONCE, "port_b": 0x53}]))
def test_the_emulated_pin_is_the_rendered_one(sheet: Sheet, machine: dict[str, int]) -> None:
    once = sheet_of(ENGINE, list(sheet.voice1), list(sheet.voice2), list(sheet.drums))
    pc = Pc(binary(once, ENGINE, AT), AT, **machine)
    found = pc.port_b
    assert pc.call(START) == 2
    assert furthest(pc, once) <= BOUND
    assert pc.control == [0x34, 0xB6, 0xB6, 0x36]
    assert pc.port_b == found & 0xFD


@pytest.mark.parametrize("song", DEMO_SONGS, ids=lambda path: path.stem)
def test_the_demo_songs_are_played_as_computed(song: Path) -> None:
    sheet = convert(read_song(song), ENGINE, Settings(engine=ENGINE.name)).sheet
    sheet = cut_bars(sheet, 2, 2)
    pc = Pc(binary(sheet, ENGINE, AT), AT, access_clocks=2)
    pc.call(START)
    assert furthest(pc, sheet) <= 2 * BOUND
    assert len(pc.pin) > 10


BUSY = sheet_of(
    ENGINE,
    [60, 64, HOLD, REST, 84, 96],
    [36, REST, 43, HOLD, HOLD, REST],
    ["kick", None, "snare", "hat", "gap", "crash"],
    length=60,
)


@pytest.mark.parametrize(
    "others",
    [{}, {"interrupt_every": 3000, "interrupt_clocks": 300}],
    ids=["alone", "interrupted"],
)
def test_a_slow_machine_is_late_only_with_the_speaker(others: dict[str, int]) -> None:
    pc = Pc(binary(BUSY, ENGINE, AT), AT, **SLOW, **others)
    pc.call(START)
    found = differences(pc.edges(), rendered(BUSY))
    assert found.max() <= SLOW_BOUND
    assert (found > 0).sum() <= 12  # no flip of the timer is another
    assert len(found) > 700


def test_the_slowest_machine_plays_tones_as_computed() -> None:
    tunes = [96, 91, 88, 84, 79, 95], [72, 76, 60, 64, 90, 43]
    sheet = sheet_of(ENGINE, *tunes, [None, "gap", "tom-low", None, "gap", "gap"], length=60)
    pc = Pc(binary(sheet, ENGINE, AT), AT, **SLOWEST)
    pc.call(START)
    assert furthest(pc, sheet) <= SLOWEST_BOUND


def test_the_slowest_machine_finds_back_after_a_drum() -> None:
    tunes = [REST, 96, 91, 88], [REST, 84, 79, 95]
    sheet = sheet_of(ENGINE, *tunes, ["snare", None, None, None], length=60)
    pc = Pc(binary(sheet, ENGINE, AT), AT, **SLOWEST)
    pc.call(START)
    found = differences(pc.edges(), rendered(sheet))
    assert len(found) > 600
    assert found[-500:].max() <= 100  # three steps of four


def test_it_finds_back_after_a_long_interrupt() -> None:
    sheet = sheet_of(ENGINE, [60, HOLD, HOLD], [43, HOLD, HOLD], length=100)
    pc = Pc(
        binary(sheet, ENGINE, AT), AT, **SLOW, interrupt_every=130 * TICK, interrupt_clocks=9 * TICK
    )
    pc.call(START)
    found = [gap for gap in differences(pc.edges(), rendered(sheet)) if gap > SLOW_BOUND]
    assert 1 < len(found) < 40
    assert pc.control.count(0xB6) > 2


LENGTHS = st.sampled_from([0, 1, TICK - 1, TICK, TICK + 1, 5 * TICK, 30 * TICK])
PARTS = st.builds(DrumPart, st.just("rest"), st.just(()), LENGTHS) | st.builds(
    DrumPart,
    st.sampled_from(["kick", "noise"]),
    st.sampled_from([(90, 0), (110, 127), (4000, 350), (0x7FFF, 0x8000), (0xFFF0, 15)]),
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
    pc = Pc(binary(sheet, engine, AT), AT, **AT_ONCE)
    pc.call(START)
    assert furthest(pc, sheet, engine) <= BOUND


def test_a_piece_of_too_many_parts_is_refused() -> None:
    parts = (DrumPart("kick", (4000, 350), TICK),) * 2
    names = [f"d{number}" for number in range(129)]
    engine = replace(ENGINE, drums=tuple(DrumSound(name, (), 1.0, parts) for name in names))
    binary(sheet_of(engine, [REST] * 128, drums=[*names[:128]]), engine)
    with pytest.raises(SheetError, match="more than 255 parts"):
        binary(sheet_of(engine, [REST] * 129, drums=[*names]), engine)


@pytest.mark.parametrize("far", [False, True], ids=["near", "far"])
def test_steps_of_a_program_play_what_start_plays(far: bool) -> None:
    start, step, stop = (both[1 + far] for both in entry_points(AT))
    pc = Pc(binary(BUSY, ENGINE, AT), AT, **AT_ONCE)
    assert pc.call(stop, far=far) == 0  # nothing to stop
    assert pc.pin == []
    results = []
    for _ in range(BUSY.steps):
        results.append(pc.call(step, far=far))
        pc.wait(TICK - 200)
    assert results == [0, 0, 0, 0, 0, 2]
    assert furthest(pc, BUSY) <= 2 * BOUND
    assert pc.control == [0x34, 0xB6, 0xB6, 0x36]
    assert pc.call(step, far=far) == 0  # it begins anew
    assert pc.call(start, far=far) == 2
    assert pc.control == [0x34, 0xB6, 0xB6, 0x36] * 3


def test_time_between_steps_is_made_up_for() -> None:
    sheet = sheet_of(ENGINE, [60, 64, 67, 72], [36, 43, 36, 43], length=100)
    pc = Pc(binary(sheet, ENGINE, AT), AT, **AT_ONCE)
    for _ in range(4):
        pc.call(STEP)
        last = pc.clocks
        pc.wait(45 * TICK)  # 47 ms
    # After a pulse at most: half a cycle of the low tone.
    assert 0 <= pc.edges()[-1][0] - 400 * TICK < 5000
    assert last - pc.started < 405 * TICK


def test_stop_lets_a_pulse_sound_out_and_the_next_step_is_the_first() -> None:
    sheet = sheet_of(ENGINE, [60, 64], [36, 43], length=100)
    pc = Pc(binary(sheet, ENGINE, AT), AT, **AT_ONCE)
    assert pc.call(STEP) == 0
    assert pc.call(STOP) == 0
    first = sheet_of(ENGINE, [60], [36], length=100)
    assert furthest(pc, first) <= BOUND
    pc.started, pc.pin = 0, []
    assert [pc.call(STEP), pc.call(STEP)] == [0, 2]
    assert furthest(pc, sheet) <= BOUND


def test_a_key_ends_a_piece_that_goes_round() -> None:
    sheet = sheet_of(ENGINE, [60, 64, 65], [REST, REST, 43], loop_step=1)
    step = ENGINE.step_lengths[0].cycles
    pc = Pc(binary(sheet, ENGINE, AT), AT, **AT_ONCE, key_after=6 * step)
    assert pc.call(START) == 1
    assert pc.taken_keys == 0
    assert furthest(pc, again(sheet, 1)) > BOUND
    assert furthest(pc, again(sheet, 2)) <= BOUND
    assert pc.call(STEP) == 1  # with a key waiting it plays all the same
    assert pc.clocks > 8 * step - 2 * TICK


@pytest.mark.parametrize("key", [None, 1])
def test_the_program_runs_as_it_stands(key: int | None) -> None:
    """A .com file: at 100h of a segment, its first word a call of the system that ends it."""
    pc = Pc(binary(BUSY, ENGINE), PROGRAM_ORIGIN, **AT_ONCE, key_after=key)
    pc.cpu.mem_write(0x20000, b"\xcd\x20")
    pc.cpu.mem_write(0x2FF00, bytes(2))
    pc.run(PROGRAM_ORIGIN)
    assert pc.taken_keys == (key is not None)
    assert furthest(pc, BUSY if key is None else cut_first(BUSY)) <= BOUND


def cut_first(sheet: Sheet) -> Sheet:
    """Return the first step of a sheet alone."""
    rows = ([*row[:1]] for row in (sheet.voice1, sheet.voice2, sheet.drums))
    return sheet_of(ENGINE, *rows, length=sheet.length)  # type: ignore[arg-type]


def test_the_source_assembles_to_the_bytes(tmp_path: Path) -> None:
    sheet = sheet_of(ENGINE, [60, 64, HOLD], [36, REST, REST], ["kick", None, "snare"])
    for address in (None, 0x8000):
        assert assembled(alternate_source(sheet, ENGINE, address), tmp_path) == binary(
            sheet, ENGINE, address
        )
    assert binary(sheet, ENGINE) == PROGRAM + binary(sheet, ENGINE, 0)


def assembled(source: str, folder: Path) -> bytes:
    """Return what NASM makes of a source."""
    (folder / "piece.asm").write_text(source)
    command = ["nasm", "-w+all", "-f", "bin", "piece.asm", "-o", "piece.bin"]
    subprocess.run(command, cwd=folder, check=True)
    return (folder / "piece.bin").read_bytes()


HOST = """
        org     100h
        mov     cx, 3                   ; a program of one's own: it plays three steps, does
.more:  call    tune + 3                ; something between them, stops, and plays the whole
        inc     byte [done]
        loop    .more
        call    tune + 6
        push    cs
        call    tune + 9                ; by a far call
        mov     [result], ax
        ret
done:   db      0
result: dw      0
        times   300h - ($ - $$) db 0
tune:   incbin  "tune.bin"
"""


def test_a_program_of_ones_own_includes_the_block(tmp_path: Path) -> None:
    (tmp_path / "tune.bin").write_bytes(binary(BUSY, ENGINE, 0x400))
    pc = Pc(assembled(HOST, tmp_path), 0x100, **AT_ONCE)
    pc.cpu.mem_write(0x2FF00, bytes((0x10, 0)))
    pc.run(0x100)
    assert pc.control == [0x34, 0xB6, 0xB6, 0x36] * 2


C_HOST = """
__asm__(".globl _start\\n_start: calll main\\nretw\\n"
        ".section .tune,\\"a\\"\\n.incbin \\"tune.bin\\"\\n.text\\n");
enum { TUNE = 0x4000, START = 0, STEP = 3, STOP = 6 };

static int call(unsigned short entry)
{
    short result;
    __asm__ volatile("callw *%1" : "=a"(result) : "r"(entry) : "memory", "cc");
    return result;
}

int main(void)
{
    int steps = 0;
    while (call(TUNE + STEP) != 2)
        steps++;
    call(TUNE + STEP);
    call(TUNE + STOP);
    return steps * 10 + call(TUNE + START);
}
"""


@pytest.mark.skipif(platform.machine() != "x86_64", reason="needs a compiler for the PC")
def test_a_program_in_c_calls_the_block(tmp_path: Path) -> None:
    (tmp_path / "tune.bin").write_bytes(binary(BUSY, ENGINE, 0x4000))
    (tmp_path / "host.c").write_text(C_HOST)
    freestanding = ("-ffreestanding", "-fno-pic", "-fno-asynchronous-unwind-tables", "-nostdlib")
    laid_out = (
        "-Wl,-N,-Ttext=0x100,--section-start=.tune=0x4000,--build-id=none,--no-warn-rwx-segments"
    )
    build = ("gcc", "-m16", "-march=i386", "-O2", *freestanding, "-static", laid_out)
    subprocess.run([*build, "host.c", "-o", "host.elf"], cwd=tmp_path, check=True)
    command = ["objcopy", "-O", "binary", "host.elf", "host.com"]
    subprocess.run(command, cwd=tmp_path, check=True)
    pc = Pc((tmp_path / "host.com").read_bytes(), PROGRAM_ORIGIN, **AT_ONCE)
    assert pc.call(PROGRAM_ORIGIN, kept=False) == 52
    assert pc.control == [0x34, 0xB6, 0xB6, 0x36] * 3


def test_what_does_not_fit_is_refused() -> None:
    room = 60_000 - len(PLAYER)
    with pytest.raises(SheetError, match=f"the song data takes 6[0-9]* bytes, and {room} are free"):
        binary(sheet_of(ENGINE, [60] * 20_000), ENGINE)
    with pytest.raises(SettingsError, match="beyond the segment's end; choose a lower --address"):
        binary(sheet_of(ENGINE, [60]), ENGINE, 0xFF00)
    quick = replace(ENGINE, profile=ENGINE.profile._replace(loop=ENGINE.profile.loop._replace(cycles=300)))  # fmt: skip
    with pytest.raises(SettingsError, match="ticks of 400 clocks or more; pc-alternate has 300"):
        binary(sheet_of(ENGINE, [60]), quick)


def test_the_engine_states_the_size_of_its_player() -> None:
    assert ENGINE.code_bytes == len(PLAYER)
