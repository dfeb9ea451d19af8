"""The computed signal of routines that a musician describes, against a pass-by-pass simulation.

The project's own player is checked on an emulated Z80 in ``tests/machine/test_player.py``.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine, parse_engine
from arranger.rows import HOLD, REST, tones
from arranger.sheet.excerpt import go_round
from arranger.sheet.model import Sheet, SheetBar
from arranger.sound import signal
from arranger.sound.schedule import NOISE_SEED, NOISE_TAPS, noise_bits, total_cycles
from arranger.sound.signal import blocks, edges
from tests.sound.sheets import sheet_of, sheets

if TYPE_CHECKING:
    from arranger.engine.model import Engine

ROUTINE = """
format = "arranger-engine"
version = 1
name = "mine"
title = "Mine"
method = "{method}"
clock_hz = 1_000_000
drum_takes_step = {takes}
[loop]
cycles = 90
voice1_write = 7
voice2_write = 40
[pitch]
{pitch}
[steps]
first = 3
last = 6
passes_per_count = 10
overhead_cycles = {overhead}
[memory]
code_bytes = 100
total_bytes = 10_000
[[drum]]
name = "kick"
kind = "kick"
percussion_keys = [36]
weight = 1.0
settings = [150, 25]
cycles = 1100
[[drum]]
name = "noise"
kind = "noise"
percussion_keys = [38]
weight = 1.0
settings = [61]
[[drum]]
name = "both"
kind = "noise"
percussion_keys = []
weight = 1.0
settings = [40]
cycles = 410
then = [
    {{ kind = "kick", settings = [150, 25], cycles = 700 }},
    {{ kind = "noise", settings = [61], cycles = 1300 }},
]
joins = ["kick", "noise"]
"""
DRUMS = {
    "kick": [("kick", 150, 1100)],
    "noise": [("noise", 61, 1_000_000)],
    "both": [("noise", 40, 410), ("kick", 150, 700), ("noise", 61, 1300)],
}
"""Kind, first distance of two changes, and length of each part."""
RANGE = 'lowest = "C4"\nhighest = "C6"\nbits = {}'
LIST = "[pitch.table]\nA4 = 440.0\nA5 = 880.5\nC7 = 2093.0045"


def routine(method: str, *, overhead: int = 0, takes: bool = True) -> Engine:
    """Return an engine of a method."""
    pitch = {"phase": RANGE.format(12), "counter": RANGE.format(5), "frequencies": LIST}[method]
    if method == "counter":
        pitch = '[pitch.table]\nB4 = 11\nG5 = 7\n"C#6" = 5'
    return parse_engine(
        ROUTINE.format(method=method, overhead=overhead, takes=str(takes).lower(), pitch=pitch)
    )


ROUTINES = [
    routine("phase"),
    routine("phase", overhead=333),
    routine("counter", overhead=10),
    routine("counter", takes=False),
    routine("frequencies", takes=False, overhead=1),
]


class Simulation:
    """A routine as the schema describes it, one pass after the other."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.writes: list[tuple[int, int]] = []
        self.state = [0, 0] if engine.method != "counter" else [1, 1]
        self.level = [0, 0]

    def count(self, voice: int, setting: int) -> None:
        if self.engine.method == "counter":
            if setting == 0:
                self.state[voice] = max(self.state[voice] - 1, 1)
                return
            self.state[voice] -= 1
            if self.state[voice] == 0:
                self.state[voice] = setting
                self.level[voice] ^= 1
            return
        bits = 12 if self.engine.method == "phase" else 32
        self.state[voice] = (self.state[voice] + setting) % 2**bits
        self.level[voice] = self.state[voice] >> (bits - 1)

    def drum(self, start: int, name: str, end: int) -> int:
        """Write a drum, and return when it has sounded."""
        level = 0
        for kind, distance, length in DRUMS[name]:
            register, time, until = 0xFFFF, start, min(start + length, end)
            while time < until:
                if kind == "noise":
                    register <<= 1
                    if register > 0xFFFF:
                        # x^16 + x^5 + x^3 + x^2 + 1
                        register ^= 0x1_002D
                level ^= kind == "kick" or register >> 4 & 1
                self.writes.append((time, level))
                time += distance
                distance += 25 * (kind == "kick")
            start = until
        return start

    def play(self, sheet: Sheet, rounds: int = 0) -> list[tuple[int, int]]:
        steps = list(range(sheet.steps))
        if sheet.loop_step is not None:
            steps += steps[sheet.loop_step :] * rounds
        rows = [tones(sheet.voice1), tones(sheet.voice2)]
        overhead = self.engine.profile.steps.overhead_cycles
        start = 0
        for step in steps:
            passes = 10 * sheet.length
            drum = sheet.drums[step]
            begun = 0
            if drum is not None:
                # Unless it silences the step a drum leaves the voices a quarter of it.
                silences = self.engine.drum_takes_step or drum == "noise"
                room = 90 * passes if silences else 90 * passes * 3 // 4
                sounded = self.drum(start, drum, start + room) - start
                begun = passes if silences else -(-sounded // 90)
            for number in range(begun, passes):
                now = start + 90 * number
                for voice in (0, 1):
                    pitch = rows[voice][step]
                    self.count(voice, 0 if pitch is None else self.engine.pitches[pitch].setting)
                    self.writes.append((now + 33 * voice, self.level[voice]))
            start += 90 * passes + overhead
        self.writes.append((start, 0))
        changes = []
        level = 0
        for cycle, written in self.writes:
            if written != level:
                changes.append((cycle, written))
                level = written
        return changes


def computed(sheet: Sheet, engine: Engine, rounds: int = 0) -> list[tuple[int, int]]:
    played = sheet if sheet.loop_step is None else go_round(sheet, rounds + 1)
    return [
        change
        for cycles, levels in edges(played, engine)
        for change in zip(cycles.tolist(), levels.tolist(), strict=True)
    ]


@settings(max_examples=60)
@given(st.sampled_from(ROUTINES), st.data())
def test_edges_are_those_of_a_pass_by_pass_simulation(engine: Engine, data: st.DataObject) -> None:
    sheet = data.draw(sheets(engine, max_steps=8))
    assert computed(sheet, engine, 1) == Simulation(engine).play(sheet, 1)


@given(sheets(ROUTINES[1]))
@settings(max_examples=20)
def test_blocks_join_without_a_seam(sheet: Sheet) -> None:
    whole = computed(sheet, ROUTINES[1])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(signal, "_STRETCHES_A_BLOCK", 2)
        assert computed(sheet, ROUTINES[1]) == whole


def test_a_counter_flips_every_setting_passes() -> None:
    engine = ROUTINES[2]
    sheet = sheet_of(engine, [71, HOLD], [REST, REST], length=6)
    flips = blocks(sheet, engine)
    first = next(flips).flips1
    # 60 passes, 10 cycles of overhead, 60 passes; period 11, the first flip at once.
    assert first[:6].tolist() == [0, 990, 1980, 2970, 3960, 4950]
    assert first[6] == 66 * 90 + 10


def test_noise_has_the_longest_period() -> None:
    register = NOISE_SEED
    count = 0
    while count == 0 or register != NOISE_SEED:
        count += 1
        register = (register << 1) ^ (NOISE_TAPS if register & 0x8000 else 0)
        register &= 0xFFFF
    assert count == 65_535
    assert noise_bits(65_536)[-1] == noise_bits(1)[0]
    # A sequence of the longest period holds 2^15 ones (common knowledge of shift registers).
    assert int(noise_bits(65_535).sum()) == 32_768


def test_a_drum_is_the_same_every_time_and_none_like_another() -> None:
    for name in ("twin-phase", "twin-counter"):
        engine = load_engine(name)
        steps = 2 * len(engine.drums)
        names = [drum.name for drum in engine.drums for _ in range(2)]
        # In a short step the long ones are cut off, and then some are alike.
        step_length = engine.nearest_step_length(0.25)
        length = step_length.cycles
        sheet = sheet_of(engine, [REST] * steps, drums=names, length=step_length.setting)
        heard: dict[str, tuple[tuple[int, int], ...]] = {}
        changes = computed(sheet, engine)
        for step, drum in enumerate(names):
            here = tuple(
                (cycle - step * length, level)
                for cycle, level in changes
                if step * length + 590 <= cycle < (step + 1) * length
            )
            assert heard.setdefault(drum, here) == here or here[1:] == heard[drum][1:]
        assert len(set(heard.values())) == len(engine.drums)


def test_memory_is_bounded_for_an_hour() -> None:
    engine = load_engine("twin-phase")
    step = engine.nearest_step_length(0.1)
    steps = round(3600 / step.seconds)
    row = tuple(60 + number % 12 for number in range(steps))
    sheet = replace(
        sheet_of(engine, [60]),
        length=step.setting, voice1=row, voice2=row[::-1], drums=(None,) * steps,
        bars=tuple(SheetBar(number, 8, 2, 4) for number in range(steps // 8))
        + (SheetBar(steps // 8, steps % 8, 2, 4),) * (steps % 8 > 0),
    )  # fmt: skip
    largest = 0
    cycles = 0
    for block in blocks(sheet, engine):
        largest = max(largest, len(block.flips1), len(block.flips2), int(block.passes.sum()))
        cycles = int(block.starts[-1])
    assert cycles > 0.99 * total_cycles(sheet, engine)
    # An hour has 107 million passes; a block some seconds of them.
    assert largest < 500_000


def test_changes_strictly_alternate_from_low() -> None:
    engine = load_engine("twin-phase")
    sheet = sheet_of(engine, [60, HOLD, 64], [45, HOLD, HOLD], [None, "snare", None])
    changes = computed(sheet, engine)
    cycles = np.array([cycle for cycle, _ in changes])
    assert (np.diff(cycles) > 0).all()
    assert [level for _, level in changes[:4]] == [1, 0, 1, 0]
    assert changes[-1][1] == 0
