from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import Engine, load_engine
from arranger.engine.model import DrumSound
from arranger.engine.profile import DrumPart
from arranger.rows import HOLD, REST
from arranger.sound.alternate import (
    DivisorRun,
    PinChanges,
    alternate_edges,
    divisor_runs,
    drum_divisors,
    pin_blocks,
    runs,
)
from tests.sound.sheets import sheet_of, sheets

ENGINE = load_engine("pc-alternate")


def by_the_clock(played: list[DivisorRun], clocks_a_tick: int, owners: frozenset[int]) -> list[int]:
    """Return the pin's level in each clock, by counting mode 3 out clock by clock.

    From the data sheet of the 8254 (231164, from memory): high for (N + 1) / 2 counts and low for
    (N - 1) / 2 if N is odd, N / 2 each if it is even; a new count is loaded at the end of the
    current half cycle.
    """
    count_register = next((run.divisor for run in played if run.divisor), 2)
    output = 1
    left = count_register // 2 + count_register % 2
    levels = []
    for run in played:
        for clock in range(run.ticks * clocks_a_tick):
            if left == 0:
                output = 1 - output
                left = count_register // 2 + (count_register % 2 if output else 0)
            # Written after this clock's edge: what was due at it took the old count.
            if clock == 0 and run.divisor:
                count_register = run.divisor
            levels.append(output if run.divisor and run.owner in owners else 0)
            left -= 1
    return levels + [1] * (left if levels[-1] else 0)  # a pulse that has begun sounds out


def levels_of(blocks: list[PinChanges], clocks: int) -> list[int]:
    """Return the level in each clock that pin changes describe."""
    levels = np.zeros(clocks + 1, dtype=np.int8)
    for times, values in blocks:
        for time, value in zip(times, values, strict=True):
            levels[time:] = value
    assert levels[clocks] == 0
    return levels[:clocks].tolist()


def sides_of(
    played: list[DivisorRun], clocks_a_tick: int, owners: frozenset[int]
) -> list[PinChanges]:
    """Return the changes that one listener hears; another beside it makes no difference."""
    found = []
    for _until, (side, _other) in pin_blocks(played, clocks_a_tick, (owners, frozenset((1,)))):
        found.append(side)
    return found


RUNS = st.lists(
    st.builds(
        DivisorRun,
        st.integers(1, 5),
        st.sampled_from([0, 2, 3, 4, 5, 7, 12, 31]),
        st.integers(0, 2),
    ),
    min_size=1,
    max_size=12,
)


@given(RUNS, st.integers(1, 20), st.sampled_from([{0, 1, 2}, {0, 1}, {2}]))
def test_edges_are_those_of_a_timer_counted_clock_by_clock(
    played: list[DivisorRun], clocks_a_tick: int, owners: set[int]
) -> None:
    chosen = frozenset(owners)
    expected = by_the_clock(played, clocks_a_tick, chosen)
    found = sides_of(played, clocks_a_tick, chosen)
    times = np.concatenate([side.times for side in found])
    assert (np.diff(times) > 0).all()
    assert levels_of(found, len(expected)) == expected
    changes = [value for _times, values in found for value in values.tolist()]
    assert all(a != b for a, b in pairwise([0, *changes]))


@given(RUNS, st.integers(1, 20), st.integers(1, 4))
def test_blocks_join_without_a_seam(
    played: list[DivisorRun], clocks_a_tick: int, size: int
) -> None:
    listener = frozenset((0, 1))
    in_one_go = sides_of(played, clocks_a_tick, listener)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("arranger.sound.alternate._RUNS_A_BLOCK", size)
        in_parts = sides_of(played, clocks_a_tick, listener)
    for row in (0, 1):
        assert (
            np.concatenate([side[row] for side in in_parts]).tolist()
            == np.concatenate([side[row] for side in in_one_go]).tolist()
        )


def test_voices_have_the_channel_in_turn() -> None:
    sheet = sheet_of(ENGINE, [69, HOLD], [45, HOLD])
    upper, lower = ENGINE.pitches[69].setting, ENGINE.pitches[45].setting
    # The shortest step is 24 ticks: three turns of eight; every step begins with voice 1.
    assert (
        list(runs(sheet, ENGINE))
        == [DivisorRun(8, upper, 1), DivisorRun(8, lower, 2), DivisorRun(8, upper, 1)] * 2
    )
    assert divisor_runs(sheet, ENGINE) == [
        (8, upper), (8, lower), (16, upper), (8, lower), (8, upper)
    ]  # fmt: skip


def test_a_single_voice_keeps_the_channel() -> None:
    assert divisor_runs(sheet_of(ENGINE, [69, REST], [REST, REST]), ENGINE) == [
        (24, ENGINE.pitches[69].setting),
        (24, 0),
    ]


# 9,944 clocks of noise are eight ticks of 1,243.
TICKING = DrumSound("tick", (), 1.0, (DrumPart("noise", (110, 127), 9_944),))
SHORT_DRUM = replace(ENGINE, drums=(TICKING,))


def test_tones_go_on_after_a_short_drum() -> None:
    assert len(drum_divisors(TICKING, ENGINE, 24)) == 8
    found = divisor_runs(sheet_of(ENGINE, [69], [REST], ["tick"]), SHORT_DRUM)
    assert found[-1] == (16, ENGINE.pitches[69].setting)


def test_the_turns_begin_after_a_drum() -> None:
    upper, lower = ENGINE.pitches[69].setting, ENGINE.pitches[45].setting
    found = list(runs(sheet_of(ENGINE, [69], [45], ["tick"]), SHORT_DRUM))
    assert found[-2:] == [DivisorRun(8, upper, 1), DivisorRun(8, lower, 2)]


def test_a_drum_leaves_the_tones_alone_only_if_it_may() -> None:
    engine = replace(SHORT_DRUM, drum_takes_step=True)
    assert list(runs(sheet_of(ENGINE, [69], [45], ["tick"]), engine))[-1] == DivisorRun(16, 0, 0)


def test_parts_follow_each_other_and_end_on_ticks() -> None:
    parts = (DrumPart("kick", (4000, 100), 1243), DrumPart("kick", (7000, 0), 1244),
             DrumPart("noise", (300, 0), 0), DrumPart("kick", (9000, 0), 1243))  # fmt: skip
    drum = DrumSound("long", (), 1.0, parts)
    # 2,487 clocks end in the third tick; what lasts to the end of the step leaves nothing.
    assert drum_divisors(drum, ENGINE, 6) == [4000, 7000, 7000, 300, 300, 300]
    assert drum_divisors(drum, ENGINE, 2) == [4000, 7000]


def test_each_part_of_noise_is_drawn_anew() -> None:
    part = DrumPart("noise", (100, 255), 3 * 1243)
    found = drum_divisors(DrumSound("twice", (), 1.0, (part, part)), ENGINE, 24)
    assert found[:3] == found[3:]
    assert len(set(found)) == 3


def test_a_kick_falls() -> None:
    kick = next(drum for drum in ENGINE.drums if drum.name == "kick")
    first, growth = kick.parts[0].settings
    assert drum_divisors(kick, ENGINE, 3) == [first, first + growth, first + 2 * growth]


@settings(max_examples=30)
@given(sheets(ENGINE))
def test_the_pin_rests_after_the_piece(sheet: object) -> None:
    blocks = list(alternate_edges(sheet, ENGINE))  # type: ignore[arg-type]
    times = np.concatenate([times for times, _ in blocks]) if blocks else np.zeros(0)
    assert (np.diff(times) > 0).all()
    if blocks:
        assert blocks[-1][1][-1] == 0


def test_a_long_silence_is_split_into_sixteen_bit_runs() -> None:
    engine: Engine = ENGINE
    longest = engine.step_lengths[-1]
    steps = 100
    sheet = sheet_of(engine, [REST] * steps, length=longest.setting)
    found = divisor_runs(sheet, engine)
    assert max(ticks for ticks, _ in found) == 0xFFFF
    assert sum(ticks for ticks, _ in found) == steps * longest.cycles // 1243
