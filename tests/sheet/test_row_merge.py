"""One voice, merged: as a second reading has it, on thousands of short rows."""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import TYPE_CHECKING

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
    cells = (60, 62, HOLD, HOLD, REST)

    def some(row: tuple[int, ...]) -> tuple[int, ...]:
        return tuple(random.choice(cells) if random.random() < 0.3 else cell for cell in row)

    for _ in range(6000):
        base = tuple(random.choice(cells) for _ in range(random.randint(1, 7)))
        edited, moved = some(base), random.choice((0, 0, 1, -2))
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
    base = (60, 76, 62, REST, 64, HOLD, 65, 60)
    edited = (75, 76, 71, REST, 72, HOLD, 66, 60)
    now = (51, 70, 53, 55, 55, HOLD, 56, 51)
    found = _transposed(edited, base, now, -9, (1,) * 8)
    assert found == (66, 67, 62, REST, 63, HOLD, 57, 51)
    found = _transposed(edited, base, now, -9, (1, 2, 2, 2, 2, 2, 2, 2))
    assert found == (66, 70, 62, REST, 63, HOLD, 57, 51)
    found = _transposed(edited, base, now, -9, (1, 1, 1, 2, 2, 2, 2, 2))
    assert found == (66, 67, 62, 55, 63, HOLD, 57, 51)


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
