"""Merging: no edited bar is ever lost or changed; the rest is as generated now."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from arranger.errors import SheetError
from arranger.rows import HOLD
from arranger.sheet import Sheet, format_sheet, is_edited, parse, with_digest
from arranger.sheet.merge import Merge, in_steps_of, merge
from arranger.sheet.text import speed_text

from . import edits


def check_no_edit_lost(edited: edits.Edited, merged: Merge) -> None:
    """Check that every touched bar stands in the merged sheet, in order, as the hand left it.

    Where the new sheet has finer steps the bar must be the same in time.
    """
    finer = in_steps_of(edited.sheet, merged.sheet.step_beats)
    was = edited.sheet.generated
    assert was is not None
    wanted = [edits.contents(finer)[index] for index in edited.touched]
    standing = iter(edits.contents(merged.sheet))
    for content in wanted:
        assert content in standing
    for comment in edited.sheet.comments:
        assert comment.text in {kept.text for kept in merged.sheet.comments}


@given(st.integers(0, 2**32).map(random.Random))
@settings(max_examples=300, deadline=None)
def test_no_edited_bar_is_ever_lost_or_changed(rng: random.Random) -> None:
    then = edits.generated(rng)
    edited = edits.edit(rng, then)
    read = parse(format_sheet(edited.sheet))
    now = edits.generated_again(rng, then)
    try:
        merged = merge(read, now)
    except SheetError:  # a refusal loses nothing
        assert now.step_beats > then.step_beats or now.engine != then.engine
        return
    check_no_edit_lost(edited, merged)
    assert parse(format_sheet(merged.sheet)) == merged.sheet
    again = merge(merged.sheet, now)
    assert again.sheet == merged.sheet
    assert not again.conflicts


@given(st.integers(0, 2**32).map(random.Random))
@settings(max_examples=100, deadline=None)
def test_without_edits_the_new_sheet_is_taken_whole(rng: random.Random) -> None:
    then = edits.generated(rng)
    now = edits.generated_again(rng, then)
    assume(now.step_beats <= then.step_beats)
    merged = merge(then, now)
    assert merged.sheet == now
    assert not merged.conflicts
    assert not is_edited(merged.sheet)


BASE = parse(
    """\
arranger-sheet 1
title     Low tide
engine    twin-phase
step      1 beat
length    2000
bar 1 2/4
  voice 1   C4  -
bar 2
  voice 1   D4  -
bar 3
  voice 1   E4  -
bar 4
  voice 1   -   F4
"""
)
THEN = with_digest(BASE)


def text_of(sheet: Sheet) -> str:
    """Return the body without drums and voice 2, one line a bar or comment."""
    lines = format_sheet(sheet).splitlines()
    return "\n".join(
        " ".join(line.split())
        for line in lines
        if line.strip().startswith(("bar", "voice 1", "#")) and "drums" not in line
    )


def edited_text(*changes: tuple[str, str]) -> Sheet:
    """Return the generated sheet after a hand replaced texts in its file."""
    text = format_sheet(THEN)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return parse(text)


def generated_now(*changes: tuple[str, str]) -> Sheet:
    text = format_sheet(BASE)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return with_digest(parse(text))


def test_a_bar_changed_on_both_sides_keeps_the_edit_and_shows_the_other() -> None:
    hand = edited_text(("D4  -", "D4  A4  # nicer"), ("E4  -", "E4  G4"))
    now = generated_now(("C4  -", "C5  -"), ("D4  -", "D5  -"))
    merged = merge(hand, now)
    assert text_of(merged.sheet) == (
        "bar 1 2/4\nvoice 1 C5 -\n"
        "bar 2 2/4\nvoice 1 D4 A4 # nicer\n"
        "# generated now, but the edit was kept:\n# voice 1 D5 -\n# voice 2 . .\n"
        "bar 3 2/4\nvoice 1 E4 G4\n"
        "bar 4 2/4\nvoice 1 - F4"
    )
    assert [str(conflict)[:23] for conflict in merged.conflicts] == ["bar 2: changed by hand,"]
    assert [bar.by_hand for bar in merged.bars] == [False, True, True, False]
    # and once more, with something else in bar 2: the version shown is the newest only
    again = merge(merged.sheet, generated_now(("C4  -", "C5  -"), ("D4  -", "D3  -")))
    assert text_of(again.sheet).count("generated now") == 1
    assert "# voice 1 D3 -" in text_of(again.sheet)


def test_a_generated_bar_starts_the_tone_that_the_edit_before_it_does_not_leave() -> None:
    """Bar 4 begins with a hold: of E4 as generated then, of E5 as generated now."""
    now = generated_now(("E4  -", "E5  -"))
    hand = edited_text(("E4  -", "A4  -"))
    assert text_of(merge(hand, THEN).sheet).endswith("voice 1 A4 -\nbar 4 2/4\nvoice 1 - F4")
    changed = generated_now(("E4  -", "E5  -"), ("F4", "G4"))
    assert text_of(merge(hand, changed).sheet).endswith("bar 4 2/4\nvoice 1 E5 G4")
    assert text_of(merge(THEN, now).sheet).endswith("voice 1 E5 -\nbar 4 2/4\nvoice 1 - F4")


def test_bars_put_in_and_taken_out_by_hand_stay_so() -> None:
    text = format_sheet(THEN)
    start = text.index("bar 2")
    cut = (
        text[:start]
        + "bar 2\n  voice 1 A4 B4\nbar 3\n  voice 1 B4 A4\n\n"
        + text[text.index("bar 3") :]
    )
    merged = merge(parse(cut), generated_now(("C4  -", "C5  -")))
    assert text_of(merged.sheet).startswith(
        "bar 1 2/4\nvoice 1 C5 -\nbar 2 2/4\nvoice 1 A4 B4\nbar 3 2/4\nvoice 1 B4 A4\nbar 3 2/4"
    )
    without = parse(text[:start] + text[text.index("bar 3") :])
    assert text_of(merge(without, generated_now(("C4  -", "C5  -"))).sheet).startswith(
        "bar 1 2/4\nvoice 1 C5 -\nbar 3 2/4\nvoice 1 E4 -"
    )
    told = merge(without, generated_now(("D4  -", "D5  -")))
    assert [str(conflict) for conflict in told.conflicts] == [
        "bar 2: taken out by hand, and generated otherwise now"
    ]
    assert "# bar 2 generated now, but the edit was kept:\n# voice 1 D5 -" in text_of(told.sheet)


def test_an_edit_goes_along_into_finer_steps_but_not_into_others() -> None:
    hand = edited_text(("D4  -", "D4  A4"))
    finer = with_digest(replace(in_steps_of(BASE, Fraction(1, 2)), length=1000))
    assert "bar 2 2/4\nvoice 1 D4 - | A4 -" in text_of(merge(hand, finer).sheet)
    with pytest.raises(SheetError, match="convert with --step 1 to keep the edits"):
        merge(hand, with_digest(replace(BASE, step_beats=Fraction(3, 2))))


def test_what_the_hand_wrote_into_the_header_is_kept() -> None:
    hand = edited_text(("Low tide", "High tide"), ("length    2000", "length    1500"))
    merged = merge(hand, generated_now(("C4  -", "C5  -"))).sheet
    assert (merged.title, merged.length) == ("High tide", 1500)
    assert merge(THEN, generated_now(("Low tide", "Ebb"))).sheet.title == "Ebb"
    with pytest.raises(SheetError, match=r"convert with --engine mine\.toml"):
        merge(edited_text(("twin-phase", "mine.toml")), THEN)


SLOW = ("length    2000", "tempo     90")


def test_a_tempo_set_by_hand_outlives_another_step_and_engine() -> None:
    finer = replace(in_steps_of(BASE, Fraction(1, 2)), length=None, tempo=120.0)
    now = with_digest(replace(finer, engine="twin-counter"))
    merged = merge(edited_text(SLOW), now)
    assert (merged.sheet.tempo, merged.sheet.length, merged.conflicts) == (90, None, ())
    assert merge(merged.sheet, now).sheet == merged.sheet
    told = merge(edited_text(("length    2000", "length    1500")), now)
    assert (told.sheet.tempo, told.sheet.length) == (120, None)
    assert [str(conflict) for conflict in told.conflicts] == [
        "the header: length 1500 was set by hand for another step or engine: it is tempo 120 now"
    ]
    assert merge(THEN, now).sheet.tempo == 120


@pytest.mark.parametrize("line", ["tempo     90", "length    1500"])
def test_a_tempo_asked_for_now_doesnt_silently_beat_the_hands(line: str) -> None:
    asked = replace(BASE, length=None, tempo=140.0, settings="--tempo 140")
    merged = merge(edited_text(("length    2000", line)), with_digest(asked))
    mine = " ".join(line.split())
    assert speed_text(merged.sheet) == mine
    assert [str(conflict) for conflict in merged.conflicts] == [
        f"the header: {mine} was set by hand, though --tempo asks for tempo 140: the hand's stays"
    ]


def test_a_sheet_written_by_hand_altogether_is_kept_altogether() -> None:
    hand = replace(BASE, voice1=(60, HOLD, 62, HOLD, 64, HOLD, 65, HOLD))
    merged = merge(hand, THEN)
    assert merged.sheet.voice1 == hand.voice1
    assert merged.kept == 1  # the others are as generated


@given(st.integers(0, 2**32).map(random.Random))
@settings(max_examples=100, deadline=None)
def test_converting_again_in_the_same_way_leaves_the_file_as_it_was(rng: random.Random) -> None:
    then = edits.generated(rng)
    edited = edits.edit(rng, then).sheet
    merged = merge(edited, then)
    assert format_sheet(merged.sheet) == format_sheet(edited)
    assert not merged.conflicts
