"""Merging: no edited bar is ever lost or changed; the rest is as generated now."""

from __future__ import annotations

import random

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from arranger.errors import SheetError
from arranger.sheet import format_sheet, is_edited, parse
from arranger.sheet.merge import Merge, in_steps_of, merge

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
