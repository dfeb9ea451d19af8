"""The player on an emulated Z80 against the computed signal, cycle by cycle: no tolerance."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine, parse_engine
from arranger.engine.load import builtin_text
from arranger.engine.player_check import MOST_CHUNK_PASSES, PASS_CYCLES, chunking
from arranger.machine import pack
from arranger.machine.export_options import ExportOptions
from arranger.machine.player import ENTRIES, FIRST_WRITE_CYCLES
from arranger.machine.program_export import binary_notes
from arranger.rows import HOLD, REST
from arranger.sheet.excerpt import first_bars, go_round
from arranger.sheet.model import Sheet, SheetBar
from arranger.sheet.played import step_length
from arranger.sound.schedule import (
    READ_PASSES,
    SHOWN_BEFORE_DRUM,
    SHOWN_BEFORE_END,
    SHOWN_CYCLES,
    SILENT_PERIOD,
    Event,
    drum_timing,
    events,
    timed_flips,
    total_cycles,
)
from arranger.sound.signal import edges
from tests.machine.alone import assembly, binary
from tests.machine.z80_machine import Computer
from tests.sound.sheets import sheet_of, sheets

if TYPE_CHECKING:
    from arranger.engine.model import Engine

ENGINES = [load_engine("twin-phase"), load_engine("twin-counter")]
WHOLE_STEP = [
    parse_engine(builtin_text(engine.name).replace("takes_step = false", "takes_step = true"))
    for engine in ENGINES
]
DEMO_SONGS = sorted((Path(__file__).parents[2] / "demo_songs").glob("*.mid"))
each_engine = pytest.mark.parametrize("engine", ENGINES, ids=lambda engine: engine.name)
each_kind = pytest.mark.parametrize(
    "engine",
    [*ENGINES, *WHOLE_STEP],
    ids=lambda engine: engine.name + "-whole-step" * engine.drum_takes_step,
)


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
    port = engine.profile.port
    computer = Computer(image.origin, image.content, port=port.number, key_port=port.key_port)
    others = 0b10101101 & ~port.speaker_bit
    computer.machine.memory[image.entry_points["border"]] = 0b10101101
    played = go_round(sheet, 1 if sheet.loop_step is None else 3)
    end = total_cycles(played, engine)
    call = computer.call(image.entry_points["start"], most_cycles=FIRST_WRITE_CYCLES + end + 2000)
    assert call.returned == (sheet.loop_step is None)
    assert not computer.other_ports
    assert set((call.values & ~port.speaker_bit).tolist()) == {others}
    emulated = call.changes(FIRST_WRITE_CYCLES, port.speaker_bit)
    expected = computed(played, engine)
    if sheet.loop_step is not None:
        # It goes on for ever; the computed signal ends after the rounds.
        emulated, expected = (
            (cycles[: bisect_left(cycles, end)], levels[: bisect_left(cycles, end)])
            for cycles, levels in (emulated, expected)
        )
    assert emulated == expected


@each_kind
def test_every_drum_sound(engine: Engine) -> None:
    """More of them than have a number, of one part and of two, in steps short and long."""
    drums = [name for drum in engine.drums for name in (drum.name, None)]
    steps = len(drums)
    sheet = sheet_of(engine, [60, *[HOLD] * (steps - 1)], [43, *[HOLD] * (steps - 1)], drums)
    assert sum(len(drum.parts) for drum in engine.drums) > 8
    assert_emulation_agrees(sheet, engine)
    assert_emulation_agrees(replace(sheet, length=engine.step_lengths[30].setting), engine)


# Drums that last to the end of their step, whatever its length, or that are cut in many.
ROOM = """
[[drum]]
name = "all"
kind = "noise"
percussion_keys = []
weight = 1
settings = [118]
[[drum]]
name = "rest"
kind = "kick"
percussion_keys = []
weight = 1
settings = [1180, 118]
cycles = 11_800
then = [
    { kind = "noise", settings = [236], cycles = 118 },
    { kind = "kick", settings = [708, 0], cycles = 59_000 },
    { kind = "noise", settings = [590] },
]
"""


@each_kind
def test_a_drum_ends_with_its_step_and_leaves_the_voices_their_tail(engine: Engine) -> None:
    described = builtin_text(engine.name).split("[[drum]]")[0] + ROOM
    if engine.drum_takes_step:
        described = described.replace("takes_step = false", "takes_step = true")
    # Steps of one chunk, the shortest chunks, and those that are most.
    described = described.replace("counts = [", "counts = [16, 17, 23, 32, 258, 255 * 16,")
    described = described.replace("255 * 16", "4080")
    narrow = parse_engine(described)
    for length in (*narrow.step_lengths[:6], *narrow.step_lengths[6::40]):
        for drum in narrow.drums:
            timing = drum_timing(drum, narrow, length.setting)
            assert sum(passes for _, passes in timing.parts) > 0
            assert timing.passes <= length.setting - 4
        sheet = sheet_of(
            narrow,
            [60, HOLD, 64, REST, HOLD, 65],
            [48, HOLD, HOLD, HOLD, 50, HOLD],
            ["all", "rest", None, "rest", "all", "all"],
            length=length.setting,
        )
        assert_emulation_agrees(sheet, narrow)


@each_kind
@pytest.mark.parametrize("first", range(0, 118, 13))
def test_a_drum_may_end_anywhere_in_a_chunk(engine: Engine, first: int) -> None:
    """Of 118 passes a chunk; where too few would be left the drum goes on to the chunk's end."""
    lasting = range(first, first + 13)
    described = (
        builtin_text(engine.name).split("[[drum]]")[0].replace("counts = [", "counts = [354,")
    )
    if engine.drum_takes_step:
        described = described.replace("takes_step = false", "takes_step = true")
    for passes in lasting:
        described += (
            f'[[drum]]\nname = "d{passes}"\nkind = "noise"\npercussion_keys = []\nweight = 1\n'
            f"settings = [118]\ncycles = {118 * (100 + passes)}\n"
        )
    narrow = parse_engine(described)
    assert chunking(354) == (2, 177)
    names = [f"d{passes}" for passes in lasting]
    steps = len(names)
    sheet = sheet_of(
        narrow, [60, *[HOLD] * (steps - 1)], [62, 48] * (steps // 2) + [50], names, length=354
    )
    assert_emulation_agrees(sheet, narrow)


@each_kind
def test_drums_at_the_borders_of_bars_and_phrases(engine: Engine) -> None:
    """On first and last steps, in a row, with tones that change and tones that don't."""
    names = [drum.name for drum in engine.drums]
    tune = [60, HOLD, 62, HOLD, HOLD, 64, REST, HOLD]
    bass = [43, HOLD, HOLD, REST, HOLD, 45, 47, HOLD]
    patterns = [
        [names[0], None, None, names[1], None, None, None, names[2]],
        [names[3], names[4], names[4], names[5], names[14], None, None, None],
        [None, names[6], None, names[13], None, names[7], names[8], None],
        [names[9], *[None] * 7],
        [*[None] * 7, names[12]],
    ]
    order = [0, 1, 0, 2, 2, 3, 4, 4, 1, 0]
    sheet = sheet_of(
        engine, tune * len(order), bass * len(order), [d for n in order for d in patterns[n]]
    )
    bars = tuple(SheetBar(number, 8, 8, 4) for number in range(1, len(order) + 1))
    sheet = replace(sheet, bars=bars)
    assert len(pack(sheet, engine).phrases) > 2
    assert_emulation_agrees(sheet, engine)
    for loop_step in (8, 27, 79):
        assert_emulation_agrees(replace(sheet, loop_step=loop_step), engine)


@each_kind
def test_phrases_in_phrases(engine: Engine) -> None:
    """Some begin where others end; the piece ends, or goes round, where one has ended."""
    chords = [(48, 52, 55, 60), (45, 48, 52, 57), (43, 47, 50, 55)]
    kick, snare = engine.drums[0].name, engine.drums[1].name
    order = [0, 0, 1, 2, 0, 0, 1, 2, 0, 1, 0, 1, 2, 2, 0, 0, 1, 2, 0, 1, 0, 1, 2, 2, 0]
    bass = [chords[n][place] for n in order for place in range(4)]
    tune = [cell for n in order for cell in (72 + n, HOLD, 74, REST)]
    drums = [kick, None, snare, None] * len(order)
    sheet = sheet_of(engine, tune, bass, drums)
    for loop_step in (None, 0, 16, 97):
        looped = replace(sheet, loop_step=loop_step)
        assert pack(looped, engine).depth >= 2 + 9
        assert_emulation_agrees(looped, engine)


@each_kind
def test_a_tone_goes_on_after_a_drum_for_as_long_as_an_event_lasts(engine: Engine) -> None:
    row = [60, *[HOLD] * 130, REST]
    for step in (0, 51, 131):
        drums: list[str | None] = [None] * len(row)
        drums[step] = "kick"
        assert_emulation_agrees(sheet_of(engine, row, drums=drums), engine)


@each_engine
def test_every_pitch(engine: Engine) -> None:
    pitches = sorted(engine.pitches)
    assert_emulation_agrees(sheet_of(engine, pitches, pitches[::-1]), engine)


@each_engine
def test_every_step_length(engine: Engine) -> None:
    for length in engine.step_lengths[::5]:
        sheet = sheet_of(
            engine, [72, HOLD, REST], [48, 50, HOLD], [None, "kick", None],
            length=length.setting,
        )  # fmt: skip
        assert_emulation_agrees(sheet, engine)


@each_engine
def test_long_tones_and_rests(engine: Engine) -> None:
    row = [60, *[HOLD] * 150, *[REST] * 60, 62]
    assert_emulation_agrees(sheet_of(engine, row), engine)
    assert_emulation_agrees(sheet_of(engine, [REST] * 3), engine)


@each_kind
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
    assert_emulation_agrees(first_bars(sheet, 4), engine)


def with_port(engine: Engine, **values: int) -> Engine:
    """Return an engine whose speaker and keys are elsewhere, as its file would say it."""
    return parse_engine(
        builtin_text(engine.name).split("[port]")[0]
        + "".join(["[port]\n", *(f"{key} = {value}\n" for key, value in values.items())])
        + builtin_text(engine.name)[builtin_text(engine.name).index("[[drum]]") :]
    )


@each_engine
@pytest.mark.parametrize("speaker", range(8))
def test_the_speaker_may_be_any_bit_of_any_port(engine: Engine, speaker: int) -> None:
    moved = with_port(engine, number=97 + speaker, speaker=speaker, key_port=31, key_mask=0x80)
    sheet = sheet_of(
        moved,
        [60, HOLD, 62, REST, HOLD, 64],
        [48, HOLD, HOLD, 50, HOLD, HOLD],
        ["snare-hat", None, "kick-snare", None, "gap", None],
    )
    assert_emulation_agrees(sheet, moved)


@each_engine
def test_keys_and_idle_bits_are_the_engine_s(engine: Engine) -> None:
    sheet = sheet_of(engine, [60, 62, 64, 65])
    step = engine.step_lengths[0].cycles
    moved = with_port(engine, speaker=0, idle=0xC6, key_port=31, key_mask=0x90)
    image = binary(sheet, moved)
    for bit, stops in ((0x80, True), (0x10, True), (0x40, False)):
        computer = Computer(image.origin, image.content, key_port=31, key_bit=bit)
        computer.key_down = 3 * step // 2, 10 * step
        call = computer.call(image.entry_points["start"])
        assert call.returned
        assert computer.machine.a == (1 if stops else 2)
        assert set((call.values & 0xFE).tolist()) == {0xC6}
    assert computer.call(image.entry_points["stop"]).values.tolist() == [0xC6]
    # Without keys the port isn't read, and the piece sounds as ever.
    deaf = with_port(engine, key_mask=0)
    image = binary(sheet, deaf)
    for engine_, said in ((moved, "bit 0; keys: port 31, mask 144"), (deaf, "bit 4; no keys")):
        assert f"speaker: port 254, {said}" in binary_notes(sheet, engine_, ExportOptions())
        assert said[:5] + " of port 254" in assembly(sheet, engine_)
    assert "any key stops it" in assembly(sheet, moved)
    assert "no key stops it" in assembly(sheet, deaf)
    computer = Computer(image.origin, image.content, key_port=-1)
    call = computer.call(image.entry_points["start"])
    assert computer.machine.a == 2
    assert call.changes(FIRST_WRITE_CYCLES - 33) == computed(sheet, deaf)


TAP_CYCLES = 350_000
"""A tenth of a second."""
TUNE = [72, HOLD, 74, REST, 76, HOLD, HOLD, HOLD]
BASS = [48, HOLD, HOLD, 50, HOLD, REST, REST, 43]


STEP_READ_CYCLES = 42
"""How much longer reading takes for a single step, from the third of the writes on that show the voices."""


class Voice:
    """One voice of the player, pass by pass, as the head of its source says."""

    def __init__(self, method: str) -> None:
        self.method = method
        self.state = 1 if method == "counter" else 0
        self.level = 0

    def count(self, setting: int) -> int:
        if self.method == "phase":
            self.state += setting
            self.level ^= self.state >> 16
            self.state &= 0xFFFF
        elif setting == 0:
            self.state = self.state - 1 or SILENT_PERIOD
        else:
            self.state -= 1
            if self.state == 0:
                self.state = setting
                self.level ^= 1
        return self.level


def step_writes(
    event: Event,
    number: int,
    engine: Engine,
    passes: int,
    voices: tuple[Voice, Voice],
) -> list[tuple[int, int]]:
    """Return what the n-th step of an event writes by itself, from its first write on.

    Reading takes longer than in the piece, which is the first step's.
    """
    writes = []

    def sound(start: int, passes: int, settings: tuple[int, int]) -> None:
        for index in range(passes):
            for place, setting in enumerate(settings):
                level = voices[place].count(setting)
                writes.append((start + index * PASS_CYCLES + 59 * place, level))

    settings = (event.setting1, event.setting2)
    if number > 0:
        sound(0, passes, settings)
        return writes
    start = STEP_READ_CYCLES
    late = [0] * SHOWN_BEFORE_END + [STEP_READ_CYCLES] * (len(SHOWN_CYCLES) - SHOWN_BEFORE_END)
    shown = [
        (cycle + longer, voices[place % 2].level)
        for place, (cycle, longer) in enumerate(zip(SHOWN_CYCLES, late, strict=True))
    ]
    begun = READ_PASSES
    if event.drum is None:
        writes += shown
        for voice, setting in zip(voices * READ_PASSES, settings * READ_PASSES, strict=True):
            voice.count(setting)
    else:
        writes += shown[:SHOWN_BEFORE_DRUM]
        timing = drum_timing(event.drum, engine, passes)
        flips = timed_flips(timing, engine)
        writes += zip((start + flips.cycles).tolist(), flips.levels.tolist(), strict=True)
        begun = timing.passes
    sound(start + begun * PASS_CYCLES, passes - begun, settings)
    return writes


def changes_of(writes: list[tuple[int, int]], level: int) -> list[tuple[int, int]]:
    """Return the writes that change the pin from what it was."""
    found = []
    for cycle, written in writes:
        if written != level:
            found.append((cycle, written))
        level = written
    return found


@each_kind
@settings(max_examples=8, deadline=None)
@given(data=st.data())
def test_steps_one_at_a_time(engine: Engine, data: st.DataObject) -> None:
    """Every write of every call, twice round: the piece, or its loop."""
    sheet = data.draw(sheets(engine, max_steps=12))
    bars = data.draw(st.integers(1, sheet.steps))
    cut = (bars, sheet.steps - bars) if bars < sheet.steps else (bars,)
    sheet = replace(sheet, bars=tuple(SheetBar(n, steps, 4, 4) for n, steps in enumerate(cut, 1)))
    image = binary(sheet, engine)
    computer = Computer(image.origin, image.content)
    step = image.entry_points["step"]
    voices = Voice(engine.method), Voice(engine.method)
    level = 0
    played = go_round(sheet, 1 if sheet.loop_step is None else 3)
    for _ in range(2 if sheet.loop_step is None else 1):
        for event in events(played, engine):
            for number in range(event.steps):
                call = computer.call(step)
                assert call.returned
                assert computer.machine.a == 0
                assert 0 < call.cycles - step_length(sheet, engine).cycles < 2200
                expected = step_writes(event, number, engine, sheet.length, voices)
                cycles = (call.write_cycles - call.write_cycles[0]).tolist()
                levels = (call.values >> 4 & 1).tolist()
                found = changes_of(list(zip(cycles, levels, strict=True)), level)
                assert found == changes_of(expected, level)
                level = expected[-1][1]
        if sheet.loop_step is None:
            ending = computer.call(step)
            assert computer.machine.a == 2
            assert ending.cycles < 3000
            voices = Voice(engine.method), Voice(engine.method)
            level = 0


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
    assert 0 < call.cycles - 5 * step // 2 < MOST_CHUNK_PASSES * PASS_CYCLES + 1000
    assert call.values[-1] & 0x10 == 0
    computer.key_down = (0, 0)
    computer.call(image.entry_points["step"])
    call = computer.call(image.entry_points["stop"])
    assert call.values.tolist() == [0]
    assert computer.machine.memory[image.symbols["stacked"] + 1] == 0


@each_engine
@pytest.mark.parametrize("drums", [None, ["kick", None, "snare-hat", None]])
@pytest.mark.parametrize("keys", [31, 0])
def test_what_is_left_out_isn_t_heard(
    engine: Engine, drums: list[str | None] | None, keys: int
) -> None:
    """Ways in, drums and keys that a piece or a program has no use for."""
    deaf = with_port(engine, key_mask=keys)
    sheet = sheet_of(deaf, [60, 62, REST, 65], [48, HOLD, HOLD, 50], drums)
    whole = binary(sheet, deaf)
    loop = binary(replace(sheet, loop_step=0), deaf)
    assert whole.code_bytes < loop.code_bytes
    assert (loop.code_bytes == deaf.code_bytes) == (drums is not None and keys > 0)
    expected = computed(sheet, deaf)
    for entries in (("start", "stop"), ("start",)):
        image = binary(sheet, deaf, entries=entries)
        assert image.code_bytes < whole.code_bytes - 70
        assert list(image.entry_points) == [*entries, "border"]
        computer = Computer(image.origin, image.content, key_port=254 if keys else -1)
        for _ in range(2):
            call = computer.call(image.entry_points["start"])
            assert computer.machine.a == 2
            found = call.changes(0)
            assert call.changes(found[0][0] - expected[0][0]) == expected
    calls = []
    for entries in (ENTRIES, ("stop", "step")):
        image = binary(sheet, deaf, entries=entries)
        computer = Computer(image.origin, image.content, key_port=254 if keys else -1)
        played = [computer.call(image.entry_points["step"]) for _ in range(9)]
        played.append(computer.call(image.entry_points["stop"]))
        calls.append([[call.changes(first) for call in played for first in call.write_cycles[:1]]])
    assert calls[0] == calls[1]


@each_kind
def test_a_tap_of_a_tenth_of_a_second_stops_it_at_any_moment(engine: Engine) -> None:
    """In a tone of two seconds, in a rest and in drums."""
    tune = [60, *[HOLD] * 35, *[REST] * 18, 72, *[HOLD] * 5]
    drums = [*[None] * 55, "crash", "kick-crash", "snare", "kick", "gap"]
    length = engine.step_lengths[20].setting
    sheet = sheet_of(engine, tune, drums=drums, length=length)
    end = total_cycles(sheet, engine)
    assert_taps_end_it(sheet, engine, Random(7).sample(range(5000, end - TAP_CYCLES), 100))


@each_engine
def test_a_tap_stops_it_where_a_voice_flips_with_each_chunk(engine: Engine) -> None:
    """Each tone begins elsewhere in its period, so that some flip whenever the keys are read first."""
    _, pitch, passes = min(
        (flips_apart(pitch.setting, engine, passes), pitch.midi, passes)
        for pitch in list(engine.pitches.values())[-3:]
        for passes in range(200, 258)
    )
    short = parse_engine(
        builtin_text(engine.name).replace("counts = [", f"counts = [{4 * passes},")
    )
    assert chunking(4 * passes) == (4, passes)
    tune = [cell for n in range(48) for cell in (48 + n % 11, pitch, HOLD, HOLD, HOLD)]
    sheet = sheet_of(short, tune, length=4 * passes)
    steps = range(1, len(tune), 5)
    moments = [2500 + step * 4 * passes * PASS_CYCLES for step in steps]
    assert_taps_end_it(sheet, short, moments)


def flips_apart(setting: int, engine: Engine, passes: int) -> float:
    """Return how far, in flips, a voice is from having flipped a whole number of times in a chunk."""
    flips = passes * setting / 65536 if engine.method == "phase" else passes / setting
    return abs(flips - round(flips))


def assert_taps_end_it(sheet: Sheet, engine: Engine, moments: list[int]) -> None:
    """Tap a key at moments, in cycles from the call of ``start``."""
    image = binary(sheet, engine)
    computer = Computer(image.origin, image.content)
    moments = sorted(moments)
    computer.call(image.entry_points["start"], most_cycles=moments[0])
    for moment, later in pairwise([*moments, moments[-1]]):
        assert computer.ends_with_a_tap(TAP_CYCLES), moment
        computer.go_on(later - moment)


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
        places = image.symbols["places"]
        inside |= (changed >= places - 2 * pack(sheet, engine).depth) & (changed < places)
        stack = (changed >= 0x7F00 - 64) & (changed < 0x7F00)
        assert (inside | stack).all()
        changes = call.changes(FIRST_WRITE_CYCLES)
        assert reference in (None, changes)
        reference = changes
