"""One voice, merged: as a second reading has it, on thousands of short rows."""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import TYPE_CHECKING

import pytest

from arranger.rows import HOLD, REST
from arranger.sheet import parse, with_digest
from arranger.sheet.merging.merge import merge
from arranger.sheet.merging.row_merge import Places, Slot, ToneShift, merge_drums, merge_voice
from arranger.sheet.record.packed_sheet import pack_record

from .plain_merge import merged

HEAD = "arranger-sheet 1\nengine twin-phase\nstep 1 beat\ntempo 120\n"

if TYPE_CHECKING:
    from arranger.rows import Row


def test_rows_are_merged_as_the_second_reading_has_it() -> None:
    random = Random(7)
    cells = (0, 2, HOLD, HOLD, REST)

    def some(row: tuple[int, ...]) -> tuple[int, ...]:
        return tuple(random.choice(cells) if random.random() < 0.3 else cell for cell in row)

    for _ in range(6000):
        base = tuple(random.choice(cells) for _ in range(random.randint(1, 7)))
        edited, moved = some(base), random.choice((0, 0, 1, 3))
        now = tuple(cell + moved if cell >= 0 else cell for cell in some(base))
        steps = range(len(base))
        found = merge_voice(
            edited,
            base,
            now,
            [Slot(step, step, step) for step in steps],
            Places(edited=steps, now=steps),
            ToneShift(lambda pitch, moved=moved: pitch + moved, moved),  # type: ignore[misc]
        )
        wanted, clashes = merged(edited, base, now, moved)
        assert found.cells == wanted, (edited, base, now, moved)
        assert [step for step in steps if found.clashing[step]] == clashes, (edited, base, now)


def _transposed(
    edited: Row, base: Row, now: Row, by: int, bars: tuple[int, ...]
) -> tuple[int, ...]:
    steps = range(len(base))
    slots = [Slot(step, step, step, bar=bar) for step, bar in enumerate(bars)]
    move = ToneShift(lambda pitch: pitch + by, by, folds=True)
    return merge_voice(edited, base, now, slots, Places(edited=steps, now=steps), move).cells


def test_a_tone_or_silence_left_within_a_phrase_goes_with_the_phrase() -> None:
    base = (9, 25, 11, REST, 13, HOLD, 14, 9)
    edited = (24, 25, 20, REST, 21, HOLD, 15, 9)
    now = (0, 19, 2, 4, 4, HOLD, 5, 0)
    found = _transposed(edited, base, now, -9, (1,) * 8)
    assert found == (15, 16, 11, REST, 12, HOLD, 6, 0)
    found = _transposed(edited, base, now, -9, (1, 2, 2, 2, 2, 2, 2, 2))
    assert found == (15, 19, 11, REST, 12, HOLD, 6, 0)
    found = _transposed(edited, base, now, -9, (1, 1, 1, 2, 2, 2, 2, 2))
    assert found == (15, 16, 11, 4, 12, HOLD, 6, 0)


def test_a_tone_held_out_of_a_bar_as_another_one_goes_on_as_that_bar_ends() -> None:
    """The second step is as the first, whatever that is; the third holds what the second started."""
    slots = [Slot(0, 0, 0), Slot(1, 1, 1, copied=0), Slot(2, 2, 2)]
    places, still = Places(edited=range(3), now=range(3)), ToneShift(lambda pitch: pitch)
    silent = (REST, REST, REST)
    found = merge_voice((60, 62, HOLD), silent, silent, slots, places, still)
    assert found.cells == (60, 60, HOLD)
    base = (60, 62, HOLD)
    found = merge_voice((64, 62, HOLD), base, base, slots, places, still)
    assert found.cells == (64, 64, HOLD)
    found = merge_voice((64, 62, 67), base, base, slots, places, still)
    assert found.cells == (64, 64, 67)
    found = merge_voice((REST, 62, HOLD), base, base, slots, places, still)
    assert found.cells[:2] == (REST, REST)


def test_between_edits_of_two_hands_each_step_counts_by_itself() -> None:
    base = parse(HEAD + "bar 1 4/4\n voice 1 C4 D4 E4 F4\n")
    mine = replace(base, voice1=(61, 62, 65, 65), generated=pack_record(base, 0))
    other = with_digest(replace(base, voice1=(60, 70, 64, 65)))
    assert merge(mine, other, two_hands=True).sheet.voice1 == (61, 70, 65, 65)
    assert merge(mine, other).sheet.voice1 == (61, 62, 65, 65)


def test_tones_left_in_a_bar_with_some_by_hand_keep_their_octaves_beside_these() -> None:
    base = (60, 62, HOLD, 64, 65, 67, HOLD, 69)
    edited = (60, 62, HOLD, 70, 65, 67, HOLD, 69)
    folded = (60, 62, HOLD, 64, 65, 67, HOLD, 69)  # 12 lower, and up again
    bars = (1, 2, 2, 2, 2, 2, 3, 3)
    found = _transposed(edited, base, folded, -12, bars)
    assert found == (60, 50, HOLD, 58, 53, 55, HOLD, 69)
    other = (60, 63, HOLD, 64, 66, 67, HOLD, 69)
    found = _transposed(edited, base, other, -12, bars)
    assert found == (60, 63, HOLD, 58, 66, 55, HOLD, 69)
    held = (60, 62, HOLD, HOLD, 65, 67, HOLD, 69)  # a tone that is only longer than it was
    assert _transposed(held, base, folded, -12, bars) == held
    assert _transposed((0, HOLD, 9), (0, HOLD, 4), (0, HOLD, 4), 12, (1,) * 3) == (12, HOLD, 21)


@pytest.mark.parametrize("silent", [HOLD, REST])
def test_what_is_generated_otherwise_is_so_but_for_the_key(silent: int) -> None:
    """Of a tone that a hand changed: one a fifth up is no other where all is, nor by octaves with folds."""
    steps = range(2)
    slots = [Slot(step, step, step) for step in steps]
    for apart, clashes in ((0, 0), (12, 1), (-12, 1), (11, 2), (1, 2), (-1, 2)):
        for folds in (False, True):
            move = ToneShift(lambda pitch: pitch + 7, 7, folds)
            found = merge_voice(
                (40, silent), (20, silent), (27 + apart, silent), slots,
                Places(edited=steps, now=steps), move,
            )  # fmt: skip
            assert found.cells[0] == 47
            assert found.clashing == [clashes > folds, clashes > folds and silent == HOLD]
    for then, now, clashes in (
        ((0, HOLD), (0, 0), True), ((0, 0), (0, HOLD), True), ((0, REST), (0, 0), True),
        ((0, REST), (0, HOLD), True), ((0, HOLD), (0, REST), True), ((0, HOLD), (0, HOLD), False),
        ((REST, REST), (REST, HOLD), False), ((REST, HOLD), (REST, 0), True),
    ):  # fmt: skip
        found = merge_voice(
            (then[0], 9), then, now, slots, Places(edited=steps, now=steps), ToneShift(lambda pitch: pitch)
        )  # fmt: skip
        assert (found.cells[1], found.clashing) == (9, [False, clashes]), (then, now)


@pytest.mark.parametrize(
    ("slot", "typed", "base", "now", "found"),
    [
        (Slot(None, 0, 0), "rim", "kick", "hat", ("hat", False, False)),
        (Slot(None, None, 0), "rim", "kick", "hat", ("hat", False, False)),
        (Slot(None, 0, None), "rim", "kick", "hat", (None, False, False)),
        (Slot(0, None, 0), "rim", "rim", "hat", ("rim", True, False)),
        (Slot(0, None, 0, True), "rim", "rim", "hat", ("rim", True, True)),
        (Slot(0, None, 0, True), "rim", "rim", "rim", ("rim", False, False)),
        (Slot(0, 0, None), "rim", "rim", "hat", ("rim", True, False)),
        (Slot(0, 0, None), "rim", "kick", "hat", ("rim", True, False)),
        (Slot(0, 0, 0), "rim", "rim", "hat", ("hat", False, False)),
        (Slot(0, 0, 0), "rim", "hat", "hat", ("rim", True, False)),
        (Slot(0, 0, 0), None, "kick", "hat", (None, True, True)),
        (Slot(0, 0, 0, copied=0), "rim", "rim", "hat", ("first", True, True)),
        (Slot(0, 0, 0, copied=0), "rim", "hat", "first", ("first", False, False)),
    ],
)
def test_a_hit_of_any_origin(
    slot: Slot, typed: str | None, base: str, now: str, found: tuple[object, ...]
) -> None:
    slots = [Slot(1, None, None), slot]
    merged = merge_drums((typed, "first"), (base,), (now,), slots, lambda name: name)
    assert (merged.cells[1], merged.by_hand[1], merged.clashing[1]) == found
    assert (merged.cells[0], merged.by_hand[0], merged.clashing[0]) == ("first", True, False)


def test_tones_left_in_a_bar_with_some_by_hand_stay_in_their_key_beside_these_as_typed() -> None:
    base = parse(HEAD + "bar 1 2/4\n voice 1 C4 D4\nbar 2 2/4\n voice 1 E4 F4\n")
    edited = replace(base, voice1=(60, 65, 64, 65), generated=pack_record(base, 0))
    now = with_digest(replace(base, voice1=(63, 65, 67, 68)), 3)  # a D4 is F4 now, as was typed
    assert merge(edited, now, as_typed=True).sheet.voice1 == (60, 65, 67, 68)
    assert merge(edited, now).sheet.voice1 == (63, 68, 67, 68)


def test_hits_are_merged_one_by_one() -> None:
    base = ("kick", None, "snare", None, "hat", None)
    edited = ("kick", "rim", None, None, "clap", None)
    now = ("tom", None, "snare", "crash", "rim", None)
    slots = [Slot(step, step, step) for step in range(6)]
    found = merge_drums(edited, base, now, slots, lambda name: name)
    assert found.cells == ("tom", "rim", None, "crash", "clap", None)
    assert found.by_hand == [False, True, True, False, True, False]
    assert found.clashing == [False, False, False, False, True, False]
