"""Laws of what this project's player does when."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine, parse_engine
from arranger.engine.load import builtin_text
from arranger.engine.player_check import PASS_CYCLES, chunking
from arranger.engine.profile import DrumPart
from arranger.errors import SheetError
from arranger.rows import HOLD
from arranger.sheet.played import different_steps, played_steps
from arranger.sound.schedule import (
    DRUM_FIRST_FLIP_PASSES,
    DRUM_LEAST_TAIL_PASSES,
    DRUM_PART_GAP_PASSES,
    END_WRITE_CYCLES,
    READ_PASSES,
    Burst,
    Pause,
    Stretch,
    drum_flips,
    drum_timing,
    events,
    schedule,
    total_cycles,
)
from arranger.sound.signal import blocks
from tests.sound.sheets import sheet_of, sheets

if TYPE_CHECKING:
    from arranger.engine.model import DrumSound, Engine
    from arranger.sheet.model import Sheet

PHASE = load_engine("twin-phase")
ENGINES = [
    PHASE,
    load_engine("twin-counter"),
    parse_engine(builtin_text("twin-phase").replace("takes_step = false", "takes_step = true")),
]


def sounding(sheet: Sheet, engine: Engine) -> int:
    """Return the passes that voice 1 counts with a tone to sound."""
    stretches = [item for item in schedule(sheet, engine) if isinstance(item, Stretch)]
    return sum(item.passes + item.behind for item in stretches if item.setting1 > 0)


@settings(max_examples=60)
@given(st.sampled_from(ENGINES), st.data())
def test_stretches_and_drums_follow_each_other_and_fill_the_piece(
    engine: Engine, data: st.DataObject
) -> None:
    sheet = data.draw(sheets(engine))
    ends = []
    for item in schedule(sheet, engine):
        if isinstance(item, Pause):
            assert all(item.cycles[:1] - (ends[-1][1] if ends else 0) >= 0)
            assert (np.diff(item.cycles) > 59).all()
        begin = item.start if isinstance(item, Stretch) else int(item.cycles[0])
        end = (
            begin + item.passes * PASS_CYCLES if isinstance(item, Stretch) else int(item.cycles[-1])
        )
        ends.append((begin, end))
    drummed = sheet.drums[0] is not None
    assert ends[1][0] == PASS_CYCLES * (DRUM_FIRST_FLIP_PASSES if drummed else READ_PASSES)
    for (_, before), (after, _) in pairwise(ends):
        assert before <= after
    # Then the player finds no more events, and leaves the pin low.
    assert ends[-3][1] == total_cycles(sheet, engine)
    assert ends[-1][0] == total_cycles(sheet, engine) + END_WRITE_CYCLES
    assert sum(event.steps for event in events(sheet, engine)) == sheet.steps


@settings(max_examples=60)
@given(st.sampled_from(ENGINES), st.data())
def test_the_different_steps_are_those_that_are_played(engine: Engine, data: st.DataObject) -> None:
    sheet = data.draw(sheets(engine))
    different, which = different_steps(sheet, engine)
    steps = [*different.values()]
    assert [steps[number] for number in which] == list(played_steps(sheet, engine))
    too_high = sheet_of(engine, [60, HOLD, HOLD, 127, 126])
    for looks in (different_steps, played_steps):
        with pytest.raises(SheetError, match="bar 1, step 4: G9 is outside"):
            looks(too_high, engine)


@settings(max_examples=60)
@given(st.sampled_from(ENGINES), st.data())
def test_taking_the_drums_away_leaves_length_and_tones(engine: Engine, data: st.DataObject) -> None:
    sheet = data.draw(sheets(engine))
    silent = replace(sheet, drums=(None,) * sheet.steps)
    assert total_cycles(sheet, engine) == total_cycles(silent, engine)
    if not engine.drum_takes_step:
        # For a drum's own time voices stand still; else they make up for it while an event is read.
        lost = sounding(silent, engine) - sounding(sheet, engine)
        drums = {drum.name: drum for drum in engine.drums}
        most = sum(
            drum_timing(drums[name], engine, sheet.length).passes
            for name in sheet.drums
            if name is not None
        )
        assert -3 * sheet.steps <= lost <= most


@pytest.mark.parametrize("drum", PHASE.drums, ids=lambda drum: drum.name)
def test_a_phase_goes_on_after_a_drum_where_it_stood(drum: DrumSound) -> None:
    """So a held tone flips as often as the passes in which it is counted say."""
    setting = PHASE.nearest_step_length(0.2).setting
    sheet = sheet_of(PHASE, [70, HOLD, HOLD], drums=[None, drum.name, drum.name], length=setting)
    increment = PHASE.pitches[70].setting
    flips = sum(len(block.flips1) for block in blocks(sheet, PHASE))
    assert flips == sounding(sheet, PHASE) * increment >> 16


@settings(max_examples=200)
@given(st.sampled_from(ENGINES), st.data())
def test_a_drum_lasts_as_said_unless_the_step_is_short(engine: Engine, data: st.DataObject) -> None:
    drum = data.draw(st.sampled_from(engine.drums))
    step = data.draw(st.sampled_from(engine.step_lengths)).setting
    timing = drum_timing(drum, engine, step)
    said = [-(-part.cycles // PASS_CYCLES) for part in drum.parts]
    found = [passes for _, passes in timing.parts]
    _, chunk = chunking(step)
    tail = step - timing.passes
    assert tail >= DRUM_LEAST_TAIL_PASSES
    # At the end of a chunk, or with as many passes left of it.
    assert timing.passes % chunk == 0 or chunk - timing.passes % chunk >= DRUM_LEAST_TAIL_PASSES
    assert found[:-1] == said[: len(found) - 1]
    if not engine.drum_takes_step:
        assert tail >= step // 4 - 3
    room = step - DRUM_LEAST_TAIL_PASSES if engine.drum_takes_step else step * 3 // 4
    if 11 + sum(said) + DRUM_PART_GAP_PASSES * (len(said) - 1) <= room:
        assert len(found) == len(said)
        assert 0 <= found[-1] - said[-1] <= 3
    assert (timing.silence > 0) <= engine.drum_takes_step


PART = st.one_of(
    st.builds(
        DrumPart, st.just("kick"), st.tuples(st.integers(100, 900), st.integers(0, 300)), st.just(0)
    ),
    st.builds(DrumPart, st.just("noise"), st.tuples(st.integers(100, 900)), st.just(0)),
)


@given(st.lists(st.tuples(PART, st.integers(1, 9000)), min_size=1, max_size=4), st.integers(0, 118))
def test_parts_sound_one_after_the_other_each_as_by_itself(
    parts: list[tuple[DrumPart, int]], gap: int
) -> None:
    whole = drum_flips(parts, gap)
    start = level = at = 0
    for part, length in parts:
        alone = drum_flips([(part, length)])
        here = slice(at, at + len(alone.cycles))
        np.testing.assert_array_equal(whole.cycles[here], start + alone.cycles)
        np.testing.assert_array_equal(whole.levels[here], (alone.levels + level) % 2)
        assert alone.cycles[0] == 0
        assert alone.cycles[-1] < length
        level = int(whole.levels[here][-1])
        at += len(alone.cycles)
        start += length + gap
    assert at == len(whole.cycles)


def test_a_joint_sound_is_its_parts_with_a_pass_between() -> None:
    joint = next(drum for drum in PHASE.drums if drum.name == "kick-snare")
    timing = drum_timing(joint, PHASE, PHASE.step_lengths[-1].setting)
    (_, tone), (_, noise) = timing.parts
    assert (tone, noise) == tuple(part.cycles // PASS_CYCLES for part in joint.parts)
    assert timing.passes == 11 + tone + DRUM_PART_GAP_PASSES + noise


@pytest.mark.parametrize("engine", ENGINES[:2], ids=lambda engine: engine.name)
@pytest.mark.parametrize("hats", [2, 4])
def test_a_tune_under_a_full_beat_keeps_most_of_its_time(engine: Engine, hats: int) -> None:
    """120 beats a minute: kick and snare in turn, and so many hats a beat."""
    length = engine.nearest_step_length(0.5 / hats)
    beat = [["kick-hat", *["hat"] * (hats - 1)], ["snare-hat", *["hat"] * (hats - 1)]] * 8
    drums = [name for each in beat for name in each]
    row = [72, *[HOLD] * (len(drums) - 1)]
    sheet = sheet_of(engine, row, drums=drums, length=length.setting)
    assert Fraction(sounding(sheet, engine), length.setting * len(row)) > Fraction(85, 100)


def test_bursts_hold_a_write_at_least() -> None:
    for engine in ENGINES:
        sheet = sheet_of(engine, [60] * len(engine.drums), drums=[d.name for d in engine.drums])
        bursts = [item for item in schedule(sheet, engine) if isinstance(item, Burst)]
        assert len(bursts) == len(engine.drums) + 1
        assert all(len(burst.cycles) == len(burst.levels) > 0 for burst in bursts)
