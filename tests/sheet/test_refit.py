"""A sheet in other steps, and edits in another table of pitches."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.rows import HOLD, REST, tones
from arranger.sheet import Sheet, SheetBar, with_digest
from arranger.sheet.merging.merge import merge
from arranger.sheet.merging.refit import common_step, in_steps_of

from .strategies import sheets

ENGINE = load_engine("twin-phase")


def bar_of(voice1: tuple[int, ...], drums: tuple[str | None, ...] | None = None) -> Sheet:
    """Return a bar of 3/4 in eighths."""
    return Sheet(
        title="ebb",
        engine="twin-phase",
        step_beats=Fraction(1, 2),
        bars=(SheetBar(1, 6, 3, 4),),
        voice1=voice1,
        voice2=(REST,) * 6,
        drums=drums or (None,) * 6,
        tempo=120.0,
    )


@given(sheets(commented=False), st.integers(1, 4))
@settings(max_examples=25, deadline=None)
def test_in_finer_steps_a_sheet_sounds_the_same(sheet: Sheet, times: int) -> None:
    found = in_steps_of(sheet, sheet.step_beats / times)
    finer = found.sheet
    assert not found.lost
    assert tones(finer.voice1)[::times] == tones(sheet.voice1)
    assert tones(finer.voice2)[times - 1 :: times] == tones(sheet.voice2)
    assert finer.drums[::times] == sheet.drums
    assert sum(hit is not None for hit in finer.drums) == sum(
        hit is not None for hit in sheet.drums
    )
    starts = [sum(cell >= 0 for cell in row) for row in (finer.voice1, sheet.voice1)]
    assert starts[0] == starts[1]
    assert in_steps_of(finer, sheet.step_beats).lost == ()
    back = in_steps_of(finer, sheet.step_beats).sheet
    assert (back.bars, back.drums, back.loop_step) == (sheet.bars, sheet.drums, sheet.loop_step)
    assert tones(back.voice1) == tones(sheet.voice1)


def test_in_other_steps_each_start_goes_to_the_nearest_of_its_bar() -> None:
    """By hand: eighths 0 to 5 start at 0, 2/3 ... of a third; the last is nearest to the bar's end."""
    sheet = bar_of((60, 62, HOLD, REST, 64, 65), ("kick", None, None, None, "hat", "snare"))
    found = in_steps_of(sheet, Fraction(1, 3))
    assert found.lost == ()
    assert found.sheet.bars == (SheetBar(1, 9, 3, 4),)
    assert found.sheet.voice1 == (60, HOLD, 62, HOLD, HOLD, REST, 64, HOLD, 65)
    assert found.sheet.drums[0::2] == ("kick", None, None, "hat", "snare")
    coarse = in_steps_of(sheet, Fraction(1))
    assert coarse.sheet.voice1 == (60, 62, 64)  # of two as long the first
    assert coarse.lost == ((1, 5), (3, 5))


def test_the_longer_of_two_tones_and_the_nearer_of_two_hits_stay() -> None:
    sheet = bar_of((60, REST, REST, 62, 64, HOLD), (None, None, None, "hat", "kick", None))
    found = in_steps_of(sheet, Fraction(1))
    assert found.sheet.voice1 == (60, REST, 64)
    assert found.sheet.drums == (None, None, "kick")
    assert found.lost == ((1, 3), (3, 3))


@given(st.fractions(min_value=Fraction(1, 12), max_value=2, max_denominator=24))
def test_two_steps_have_a_common_one(step: Fraction) -> None:
    for other in (Fraction(1, 4), Fraction(1, 3), Fraction(3, 2)):
        common = common_step(step, other)
        assert (step / common).denominator == (other / common).denominator == 1
        assert not any(
            (step / (common * more)).denominator == (other / (common * more)).denominator == 1
            for more in (2, 3)
        )


@pytest.mark.parametrize(
    ("typed", "moved", "stands"),
    [(60, 5, 65), (40, -5, 47), (83, 5, 76), (40, 0, 40), (46, -1, 45)],
)
def test_tones_by_hand_follow_the_key_and_fold_into_the_table(
    typed: int, moved: int, stands: int
) -> None:
    """The table here goes from E2 (40) to B5 (83); a C4 is generated, and moved alike."""
    pitches = MappingProxyType({p: v for p, v in ENGINE.pitches.items() if 40 <= p <= 83})
    engine = replace(ENGINE, pitches=pitches)
    then = with_digest(bar_of((60, HOLD, REST, REST, REST, REST)))
    now = with_digest(bar_of((60 + moved, HOLD, REST, REST, REST, REST)), moved)
    edited = replace(then, voice1=(60, HOLD, REST, typed, HOLD, REST))
    merged = merge(edited, now, engine)
    assert merged.sheet.voice1 == (60 + moved, HOLD, REST, stands, HOLD, REST)
    assert not merged.conflicts
    as_typed = merge(edited, now, engine, as_typed=True).sheet
    assert as_typed.voice1 == (60, HOLD, REST, typed, HOLD, REST)  # the bar stays in one key


@pytest.mark.parametrize(
    ("typed", "moved", "stands"), [(5, -5, 0), (4, -5, 11), (122, 5, 127), (123, 5, 116)]
)
def test_without_a_table_tones_by_hand_are_folded_into_what_a_sheet_can_say(
    typed: int, moved: int, stands: int
) -> None:
    then = with_digest(bar_of((60, HOLD, REST, REST, REST, REST)))
    now = with_digest(bar_of((60 + moved, HOLD, REST, REST, REST, REST)), moved)
    edited = replace(then, voice1=(60, HOLD, REST, typed, HOLD, REST))
    assert merge(edited, now).sheet.voice1[3] == stands


def test_what_another_engine_cant_play_is_played_by_what_is_nearest_and_told() -> None:
    pitches = MappingProxyType({p: v for p, v in ENGINE.pitches.items() if p % 12 == 0})
    few = tuple(drum for drum in ENGINE.drums if drum.name in ("kick", "hat"))
    engine = replace(ENGINE, pitches=pitches, drums=few)
    then = with_digest(bar_of((60, HOLD, REST, REST, REST, REST)))
    now = with_digest(replace(then, engine="mine.toml"))
    edited = replace(
        then,
        voice1=(60, HOLD, REST, 62, HOLD, REST),
        drums=("snare-hat", None, "kick", None, "crash", None),
    )
    merged = merge(edited, now, engine)
    assert merged.sheet.voice1 == (60, HOLD, REST, 60, HOLD, REST)
    assert merged.sheet.drums[0] == "hat"
    assert merged.sheet.drums[2] == "kick"
    assert merged.sheet.drums[4] in ("kick", "hat")
    assert [str(conflict).split(" by hand")[0] for conflict in merged.conflicts] == [
        "the header: D4", "the header: snare-hat", "the header: crash",
    ]  # fmt: skip
    silent = merge(edited, now, replace(engine, drums=()))
    assert silent.sheet.drums == (None,) * 6
    assert "it is left out" in str(silent.conflicts[-1])


def test_a_bar_that_is_shorter_than_half_a_step_has_one() -> None:
    sheet = bar_of((60, *[HOLD] * 5), ("kick", *[None] * 5))
    found = in_steps_of(sheet, Fraction(8))
    assert (found.sheet.bars[0].steps, found.sheet.voice1) == (1, (60,))
