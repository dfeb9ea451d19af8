"""One voice, merged: as a second reading has it, on thousands of short rows."""

from __future__ import annotations

from random import Random

from arranger.rows import HOLD, REST
from arranger.sheet.merging.row_merge import Move, Places, Slot, merge_drums, merge_voice

from .plain_merge import merged


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
            Move(lambda pitch, moved=moved: pitch + moved, moved),  # type: ignore[misc]
        )
        wanted, clashes = merged(edited, base, now, moved)
        assert found.cells == wanted, (edited, base, now, moved)
        assert [step for step in steps if found.clashing[step]] == clashes, (edited, base, now)


def test_a_tone_typed_as_it_was_within_a_phrase_goes_with_the_phrase() -> None:
    base = (60, 76, 62, REST, 64, HOLD, 65, 60)
    edited = (75, 76, 71, REST, 72, HOLD, 66, 60)
    now = (51, 79, 53, 55, 55, HOLD, 56, 51)  # the song's 76 was folded upwards
    steps = range(8)
    move = Move(lambda pitch: pitch - 9, -9, folds=True)

    def found(bars: tuple[int, ...]) -> tuple[int, ...]:
        slots = [Slot(step, step, step, bar=bar) for step, bar in enumerate(bars)]
        return merge_voice(edited, base, now, slots, Places(edited=steps, now=steps), move).cells

    phrase = (66, 67, 62, REST, 63, HOLD, 57, 51)
    assert found((1,) * 8) == phrase
    assert found((1, 2, 2, 2, 2, 2, 2, 2)) == (66, 79, 62, REST, 63, HOLD, 57, 51)
    assert found((1, 1, 1, 2, 2, 2, 2, 2)) == (66, 67, 62, 55, 63, HOLD, 57, 51)


def test_hits_are_merged_one_by_one() -> None:
    base = ("kick", None, "snare", None, "hat", None)
    edited = ("kick", "rim", None, None, "clap", None)
    now = ("tom", None, "snare", "crash", "rim", None)
    slots = [Slot(step, step, step) for step in range(6)]
    found = merge_drums(edited, base, now, slots, lambda name: name)
    assert found.cells == ("tom", "rim", None, "crash", "clap", None)
    assert found.by_hand == [False, True, True, False, True, False]
    assert found.clashing == [False, False, False, False, True, False]
