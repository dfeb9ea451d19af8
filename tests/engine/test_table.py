from __future__ import annotations

from math import log2

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from arranger.engine import Engine, parse_engine
from arranger.errors import EngineError

TEXT = """\
format = "arranger-engine"
version = 1
name = "any"
title = "Any"
method = "{method}"
clock_hz = {clock}
loop.cycles = {cycles}
pitch = {{ lowest = "C3", highest = "C5", bits = {bits} }}
memory = {{ code_bytes = 1, total_bytes = 2 }}
[steps]
{steps}
"""
STEPS = "first = 3\nlast = 5\npasses_per_count = 7\n"


def engine_of(method: str, clock: int, cycles: int, bits: int, steps: str = STEPS) -> Engine:
    return parse_engine(
        TEXT.format(method=method, clock=clock, cycles=cycles, bits=bits, steps=steps)
    )


@given(
    st.sampled_from(["phase", "counter", "alternate"]),
    st.integers(1_000_000, 50_000_000),
    st.integers(20, 500),
    st.integers(8, 24),
)
def test_no_other_setting_is_nearer(method: str, clock: int, cycles: int, bits: int) -> None:
    try:
        engine = engine_of(method, clock, cycles, bits)
    except EngineError:
        assume(False)
    heard = {
        "phase": lambda setting: setting * clock / cycles / 2**bits,
        "counter": lambda setting: clock / cycles / setting / 2,
        "alternate": lambda setting: clock / setting,
    }[method]
    for midi, pitch in engine.pitches.items():
        wanted = 440 * 2 ** ((midi - 69) / 12)

        def error(setting: int, wanted: float = wanted) -> float:
            return abs(1200 * log2(heard(setting) / wanted))

        near = range(max(pitch.setting - 3, 1), pitch.setting + 4)
        assert error(pitch.setting) <= min(map(error, near)) + 1e-6
        assert abs(pitch.cents) == pytest.approx(error(pitch.setting), abs=1e-6)


def test_step_lengths_are_counted_with_all_overhead() -> None:
    engine = engine_of("counter", 1_000_000, 50, 12, STEPS + "overhead_cycles = 11\n")
    # By hand: 3 * 7 * 50 + 11 cycles of a microsecond, and so on.
    assert [(entry.setting, entry.cycles) for entry in engine.step_lengths] == [
        (3, 1061), (4, 1411), (5, 1761),
    ]  # fmt: skip
    assert engine.step_lengths[0].seconds == pytest.approx(0.001061)


def test_counts_may_be_listed_in_any_order() -> None:
    engine = engine_of("counter", 1_000_000, 50, 12, "counts = [9, 2, 4]\n")
    assert [entry.setting for entry in engine.step_lengths] == [2, 4, 9]


def test_the_nearest_step_length_is_so_in_ratio() -> None:
    engine = engine_of("counter", 1_000_000, 50, 12, "counts = [1000, 4000]\n")
    # Between 50 ms and 200 ms the middle is 100 ms in ratio, 125 ms in difference.
    assert engine.nearest_step_length(0.099).setting == 1000
    assert engine.nearest_step_length(0.101).setting == 4000
