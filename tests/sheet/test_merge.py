"""Merging: no edited bar is ever lost or changed; the rest is as generated now."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.errors import SheetError
from arranger.rows import HOLD, REST
from arranger.sheet import Comment, Sheet, SheetBar, format_sheet, is_edited, parse, with_digest
from arranger.sheet.bar_edits.structure import delete_bars
from arranger.sheet.bar_edits.which_bars import Chosen
from arranger.sheet.form.text import speed_text
from arranger.sheet.merging.merge import Merge, merge
from arranger.sheet.merging.merged_bars import PlannedBar, _number
from arranger.sheet.merging.refit import in_steps_of
from arranger.sheet.record.base import base_of

from . import edits

if TYPE_CHECKING:
    from collections.abc import Iterable


def heard(row: tuple[int, ...]) -> list[tuple[int | None, int]]:
    """Return for each step of a voice the pitch and since how many steps it sounds."""
    found: list[tuple[int | None, int]] = []
    for cell in row:
        if cell == HOLD and found and found[-1][0] is not None:
            found.append((found[-1][0], found[-1][1] + 1))
        else:
            found.append((cell if cell >= 0 else None, 0))
    return found


def by_bar(sheet: Sheet, row: list[Any]) -> list[list[Any]]:
    return [row[start:end] for start, end in pairwise(sheet.bar_starts)]


def rows_heard(sheet: Sheet) -> list[tuple[list[Any], ...]]:
    rows = (heard(sheet.voice1), heard(sheet.voice2), list(sheet.drums))
    return list(zip(*(by_bar(sheet, row) for row in rows), strict=True))


def check_no_edit_lost(edited: Sheet, merged: Merge, moved: int = 0) -> None:
    """Check that whatever a hand changed in a row sounds in the merged sheet, at the same time.

    The bars of the edited sheet are found by comments put on them. A tone that the hand only held
    on for longer may be another one now. What is generated now must be everywhere else.
    """
    finer = in_steps_of(edited, merged.sheet.step_beats).sheet
    base = base_of(edited)
    then = in_steps_of(base.sheet, merged.sheet.step_beats).sheet
    mine, was, found = rows_heard(finer), rows_heard(then), rows_heard(merged.sheet)
    # comments of a bar that is gone go to the next one, before its own
    tags = {c.bar: c.text for c in merged.sheet.comments if c.text.startswith("bar of")}
    standing = {text: bar for bar, text in tags.items()}
    typed = edits.contents(edited)
    for bar, rows in enumerate(mine):
        at = standing.get(f"bar of the hand {bar}", len(found))
        i = base.matched[bar]
        if at == len(found):
            assert i is not None, "a bar that a hand put in is gone"
            assert typed[bar] == edits.contents(base.sheet)[i], "a bar that a hand changed is gone"
            continue
        if edited.bars[bar].as_bar is not None:
            continue  # it follows the bar that it is as
        for number, row in enumerate(rows):
            old = None if i is None else was[i][number]
            for step, sound in enumerate(row):
                if old is not None and step < len(old) and sound == old[step]:
                    continue
                stands = found[at][number][step]
                if number == 2 or sound[0] is None:
                    assert stands == sound
                    continue
                assert stands[0] is not None
                start_kept = sound[1] > step or (
                    old and row[step - sound[1]] == old[step - sound[1]]
                )
                if not (sound[1] and start_kept):
                    assert stands == (sound[0] + moved, sound[1])
    texts = [comment.text for comment in merged.sheet.comments]
    by_hand = [c.text for c in edited.comments if not c.text.startswith("words")]
    assert all(text in texts for text in by_hand)
    numbers = [bar.number for bar in merged.sheet.bars]
    assert numbers == sorted(set(numbers))


def tagged(sheet: Sheet) -> Sheet:
    """Return the sheet with a comment on each bar by which it can be found."""
    tags = [Comment(bar, f"bar of the hand {bar}") for bar in range(len(sheet.bars))]
    comments = sorted([*sheet.comments, *tags], key=lambda c: (c.bar, c.row, c.beside))
    return replace(sheet, comments=tuple(comments))


def numbered(sheet: Sheet) -> Sheet:
    """Return the sheet with numbers that rise, changed as little as that needs."""
    numbers = [bar.number for bar in sheet.bars]
    for at in range(1, len(numbers)):
        numbers[at] = max(numbers[at], numbers[at - 1] + 1)
    return with_numbers(sheet, numbers)


def with_numbers(sheet: Sheet, numbers: Iterable[int]) -> Sheet:
    bars = zip(sheet.bars, numbers, strict=True)
    return replace(sheet, bars=tuple(bar._replace(number=number) for bar, number in bars))


@given(st.integers(0, 2**32).map(random.Random))
@settings(max_examples=70, deadline=None)
def test_no_edit_is_ever_lost(rng: random.Random) -> None:
    then = edits.generated(rng)
    edited = tagged(edits.edit(rng, then).sheet)
    read = parse(format_sheet(edited))
    now = edits.generated_again(rng, then)
    merged = merge(read, now)
    transposed = 0 if now.generated is None else base_of(now).transpose
    check_no_edit_lost(edited, merged, transposed or 0)
    assert parse(format_sheet(merged.sheet)) == merged.sheet
    again = merge(merged.sheet, now)
    assert again.sheet == merged.sheet
    assert not again.conflicts


@given(st.integers(0, 2**32).map(random.Random))
@settings(max_examples=40, deadline=None)
def test_without_edits_the_new_sheet_is_taken_whole(rng: random.Random) -> None:
    then = edits.generated(rng)
    now = edits.generated_again(rng, then)
    merged = merge(then, now)
    assert merged.sheet == now
    assert not merged.conflicts
    assert not is_edited(merged.sheet)


@given(st.integers(0, 2**32).map(random.Random), st.integers(-7, 7))
@settings(max_examples=40, deadline=None)
def test_an_edited_tune_that_is_transposed_sounds_so_much_higher(
    rng: random.Random, semitones: int
) -> None:
    then = edits.generated(rng)
    edited = edits.edit(rng, then).sheet
    merged = merge(edited, edits.transposed(then, semitones))
    wanted = edits.transposed(numbered(edited), semitones)
    assert (merged.sheet.voice1, merged.sheet.voice2) == (wanted.voice1, wanted.voice2)
    assert merged.sheet.drums == wanted.drums
    assert (merged.sheet.bars, merged.sheet.loop_step) == (wanted.bars, wanted.loop_step)
    assert not merged.conflicts
    as_typed = merge(edited, edits.transposed(then, semitones), as_typed=True).sheet
    base = base_of(edited)
    for bar, i in enumerate(base.matched):
        if i is None:
            assert edits.contents(as_typed)[bar][0][1:] == edits.contents(edited)[bar][0][1:]


@given(st.integers(0, 2**32).map(random.Random), st.booleans())
@settings(max_examples=40, deadline=None)
def test_marks_and_drums_by_hand_leave_the_voices_to_the_conversion(
    rng: random.Random, marks: bool
) -> None:
    then = edits.generated(rng, bars=4)
    now = edits.generated_again(rng, then)
    if now.step_beats != then.step_beats:
        return
    if marks:
        edited = replace(then, loop_step=rng.randrange(then.steps))
    else:
        drums = tuple(rng.choice(edits.DRUMS) for _ in then.drums)
        edited = replace(then, drums=drums)
    merged = merge(edited, now)
    if [bar.number for bar in then.bars] == [bar.number for bar in now.bars]:
        assert (merged.sheet.voice1, merged.sheet.voice2) == (now.voice1, now.voice2)
    assert all(set(bar.by_hand) <= {3} for bar in merged.bars if bar.now is not None)


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
        "bar 2 2/4\nvoice 1 D5 A4 # nicer\n"
        "# generated now, but the edit was kept:\n# voice 1 D5 -\n"
        "bar 3 2/4\nvoice 1 E4 G4\n"
        "bar 4 2/4\nvoice 1 - F4"
    )
    assert [str(conflict) for conflict in merged.conflicts] == [
        "bar 2: voice 1 changed by hand, and generated otherwise now: the other stands below as a "
        "comment"
    ]
    assert [bar.by_hand for bar in merged.bars] == [(), (1,), (1,), (1,)]  # G4 is held into bar 4
    # and once more, with something else in bar 2: the version shown is the newest only
    again = merge(merged.sheet, generated_now(("C4  -", "C5  -"), ("D4  -", "D3  -")))
    assert text_of(again.sheet).count("generated now") == 1
    assert "# voice 1 D3 -" in text_of(again.sheet)


def test_a_tone_by_hand_is_neither_cut_nor_lengthened() -> None:
    """Bar 4 begins with a hold: of E4 as generated then, of A4 once a hand wrote that."""
    now = generated_now(("E4  -", "E5  -"), ("F4", "G4"))
    assert text_of(merge(THEN, now).sheet).endswith("voice 1 E5 -\nbar 4 2/4\nvoice 1 - G4")
    hand = edited_text(("E4  -", "A4  -"))
    assert "voice 1 A4 -\n" in text_of(merge(hand, now).sheet)
    assert text_of(merge(hand, THEN).sheet).endswith("voice 1 A4 -\nbar 4 2/4\nvoice 1 - F4")
    cut = edited_text(("E4  -", "E4  A4"), ("-   F4", ".   F4"))
    longer = generated_now(("-   F4", "-   -"))
    merged = merge(cut, longer)
    assert text_of(merged.sheet).endswith("bar 3 2/4\nvoice 1 E4 A4\nbar 4 2/4\nvoice 1 . E4")
    assert not merged.conflicts
    assert merge(merged.sheet, generated_now(("-   F4", "-   -"), ("E4", "G4"))).sheet.voice1[4:] == (
        67, 69, REST, 67
    )  # fmt: skip


def test_a_tone_that_a_hand_lengthened_is_lengthened_whichever_it_is_now() -> None:
    base = ("E4  -", "E4  .")
    then = generated_now(base, ("-   F4", ".   F4"))
    hand = parse(format_sheet(then).replace("E4  .", "E4  -"))
    other = generated_now(("E4  -", "G4  ."), ("-   F4", ".   F4"))
    assert "bar 3 2/4\nvoice 1 G4 -\n" in text_of(merge(hand, other).sheet)
    silent = generated_now(("E4  -", ".   ."), ("-   F4", ".   F4"))
    assert "bar 3 2/4\nvoice 1 E4 -\n" in text_of(merge(hand, silent).sheet)


def test_a_bar_as_another_follows_that_one_if_the_hand_made_it_so() -> None:
    rows = "  voice 1   E4  -\n  voice 2   .   .\n  drums     .   .\n"
    hand = edited_text(("bar 3   2/4\n" + rows, "bar 3   as 1\n"))
    assert hand.bars[2].as_bar == 0
    merged = merge(hand, generated_now(("C4  -", "C5  -"), ("E4  -", "E5  -"))).sheet
    assert merged.bars[2].as_bar == 0
    assert merged.voice1[4:] == (72, HOLD, HOLD, 65), "what begins with it is held on as before"
    assert "bar 3 2/4 as 1\n# generated now, but the edit was kept:\n# voice 1 E5 -" in text_of(
        merged
    )


def test_a_bar_stays_as_another_only_as_long_as_it_is() -> None:
    folded = replace(THEN, voice1=(60, HOLD) * 4)
    bars = tuple(bar._replace(as_bar=0) if bar.number > 2 else bar for bar in folded.bars)
    then = with_digest(replace(folded, bars=bars))
    twice = with_digest(replace(then, voice1=(62, HOLD, 60, HOLD, 62, HOLD, 62, HOLD)))
    edited = replace(then, voice1=(60, 64, 60, HOLD, 60, 64, 60, 64))  # typed once, in bar 1
    merged = merge(edited, twice).sheet
    assert merged.voice1 == (62, 64, 60, HOLD, 62, 64, 62, 64)
    assert [bar.as_bar for bar in merged.bars] == [None, None, 0, 0]
    written_out = replace(twice, bars=tuple(bar._replace(as_bar=None) for bar in twice.bars))
    other = with_digest(replace(written_out, voice1=(62, HOLD, 60, HOLD, 65, HOLD, 62, HOLD)))
    merged = merge(edited, other).sheet
    assert merged.voice1 == (62, 64, 60, HOLD, 65, 64, 62, 64)
    assert all(bar.as_bar is None for bar in merged.bars)


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
        "bar 1 2/4\nvoice 1 C5 -\nbar 2 2/4\nvoice 1 A4 B4\nbar 3 2/4\nvoice 1 B4 A4\nbar 4 2/4"
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


def test_a_bar_taken_out_by_hand_is_told_if_it_has_another_metre_now() -> None:
    hand = delete_bars(THEN, Chosen(1, 2)).sheet
    bars = [bar._replace(steps=3, numerator=3) if bar.number == 2 else bar for bar in BASE.bars]
    longer = replace(BASE, bars=tuple(bars), voice1=(*BASE.voice1[:4], HOLD, *BASE.voice1[4:]),
                     voice2=(REST,) * 9, drums=(None,) * 9)  # fmt: skip
    found = merge(hand, with_digest(longer))
    assert [str(conflict) for conflict in found.conflicts] == [
        "bar 2: taken out by hand, and generated otherwise now"
    ]
    assert "# voice 1 D4 - -\n" in text_of(found.sheet)


def test_a_bar_taken_out_by_hand_is_not_told_of_an_octave() -> None:
    """The key was moved by 3: tones of the song may fold by octaves into the engine's table."""
    hand = delete_bars(THEN, Chosen(1, 2)).sheet
    for pitch, told in ((65, False), (77, False), (53, False), (66, True)):
        voice = [cell + 3 if cell >= 0 else cell for cell in BASE.voice1]
        voice[2] = pitch
        now = with_digest(replace(BASE, voice1=tuple(voice)), 3)
        assert bool(merge(hand, now).conflicts) == told


def test_where_no_bar_would_be_left_all_that_is_generated_stands() -> None:
    hand = delete_bars(THEN, Chosen(0, 3)).sheet  # bar 4 is left, which isn't generated any more
    now = with_digest(delete_bars(BASE, Chosen(3, 4)).sheet)
    merged = merge(hand, now).sheet
    assert merged.bars == now.bars
    assert (merged.voice1, merged.voice2) == (now.voice1, now.voice2)


@pytest.mark.parametrize(("by_hand", "left"), [(True, [1, 2, 3]), (False, [1, 2])])
def test_a_bar_with_a_loop_mark_by_hand_stays_though_it_is_not_generated_now(
    by_hand: bool, left: list[int]
) -> None:
    mark = replace(BASE, loop_step=5)  # the second step of bar 3
    hand = replace(THEN, loop_step=5) if by_hand else with_digest(mark)
    merged = merge(hand, with_digest(delete_bars(BASE, Chosen(2, 4)).sheet)).sheet
    assert [bar.number for bar in merged.bars] == left
    assert merged.loop_step == (5 if by_hand else None)


def test_words_beside_a_row_that_is_no_longer_written_go_below_its_bar() -> None:
    then = with_digest(replace(BASE, voice1=(60, HOLD, 62, HOLD, 60, HOLD, REST, 65)))
    hand = replace(then, comments=(Comment(2, "mine", 1, beside=True),))
    now = with_digest(
        replace(then, bars=(*then.bars[:2], then.bars[2]._replace(as_bar=0), then.bars[3]))
    )
    merged = merge(hand, now).sheet
    assert merged.bars[2].as_bar == 0
    assert merged.comments == (Comment(2, "mine", 4),)


def test_bars_that_are_new_get_numbers_between_those_of_the_hand() -> None:
    then = with_digest(with_numbers(BASE, (1, 2, 4, 5)))
    hand = delete_bars(then, Chosen(0, 1)).sheet
    assert [bar.number for bar in hand.bars] == [1, 2, 3]
    five = BASE.bars[:2] + BASE.bars[1:]
    now = replace(BASE, bars=five, voice1=(60, HOLD, 62, HOLD, 67, HOLD, 64, HOLD, HOLD, 65),
                  voice2=(REST,) * 10, drums=(None,) * 10)  # fmt: skip
    merged = merge(hand, with_digest(with_numbers(now, range(1, 6)))).sheet
    assert [bar.number for bar in merged.bars] == [1, 2, 3, 4]
    assert merged.voice1 == (62, HOLD, 67, HOLD, 64, HOLD, HOLD, 65)


@pytest.mark.parametrize(
    ("bars", "found"),
    [
        ("1h 7 3h", [1, 2, 3]),
        ("1h 2 2h", [1, 2, 3]),
        ("4h 5 9h", [4, 5, 9]),
        ("4h 8 8 9h", [4, 8, 9, 10]),
        ("4h 9 9h", [4, 5, 9]),
        ("4h 4", [4, 5]),
        ("4h 6", [4, 6]),
        ("7 3h", [7, 8]),
        ("3h 3h", [3, 4]),
        ("3h 1h 9h", [3, 4, 9]),
        ("-2h 0 1", [-2, 0, 1]),
    ],
)
def test_numbers_by_hand_stay_and_new_ones_come_between_as_far_as_they_rise(
    bars: str, found: list[int]
) -> None:
    """An h stands at a number that a hand gave."""
    planned = [
        PlannedBar(
            edited=at if word.endswith("h") else None, base=None, now=at, known=True,
            head=SheetBar(int(word.removesuffix("h")), 2, 2, 4),
        )
        for at, word in enumerate(bars.split())
    ]  # fmt: skip
    _number(planned)
    assert [bar.head.number for bar in planned] == found


def test_an_edit_goes_along_into_other_steps() -> None:
    hand = edited_text(("D4  -", "D4  A4"))
    finer = with_digest(replace(in_steps_of(BASE, Fraction(1, 2)).sheet, length=1000))
    assert "bar 2 2/4\nvoice 1 D4 - | A4 -" in text_of(merge(hand, finer).sheet)
    coarser = with_digest(in_steps_of(BASE, Fraction(2)).sheet)
    merged = merge(hand, coarser)
    assert (
        "bar 2 2/4\nvoice 1 D4\n# by hand, but not all of it fits here:\n# voice 1 D4 A4\n"
        in text_of(merged.sheet)
    )
    assert [str(conflict) for conflict in merged.conflicts] == [
        "bar 2: not all of voice 1 by hand fits the steps of 2 beat: it stands below as a comment"
    ]
    assert merge(merged.sheet, coarser).sheet == merged.sheet
    again = text_of(merge(merged.sheet, generated_now(("D4  -", "E4  -"))).sheet)
    assert "# by hand, but not all of it fits here:\n# voice 1 D4 A4\n" in again  # nowhere else
    shorter = edited_text(("D4  -", ".   A4"))
    assert "bar 2 2/4\nvoice 1 A4\nbar 3" in text_of(merge(shorter, coarser).sheet)


def test_a_hit_taken_away_between_coarser_steps_is_told_and_stands_below() -> None:
    head = "arranger-sheet 1\nengine twin-phase\nstep {} beat\ntempo 120\n"
    then = with_digest(
        parse(head.format(1) + "bar 1 4/4\nvoice 1 C4 - - -\ndrums kick hat kick hat\n")
    )
    now = with_digest(parse(head.format(2) + "bar 1 4/4\nvoice 1 C4 -\ndrums kick kick\n"))
    edited = replace(then, drums=("kick", "hat", "kick", None))
    merged = merge(edited, now)
    assert merged.sheet.drums == ("kick", "kick")
    assert [str(conflict) for conflict in merged.conflicts] == [
        "bar 1: not all of drums by hand fits the steps of 2 beat: it stands below as a comment"
    ]
    back = merge(merged.sheet, then)
    assert back.sheet.drums == then.drums
    texts = [comment.text for comment in back.sheet.comments]  # the hit is generated again
    assert texts == ["by hand, but not all of it fits here:", "drums     kick hat kick ."]
    for silenced in (("kick", "hat", None, "hat"), ("kick", "hat", "kick", "hat")):
        assert not merge(replace(then, drums=silenced), now).conflicts


def test_what_the_hand_wrote_into_the_header_is_kept() -> None:
    hand = edited_text(("Low tide", "High tide"), ("length    2000", "length    1500"))
    merged = merge(hand, generated_now(("C4  -", "C5  -"))).sheet
    assert (merged.title, merged.length) == ("High tide", 1500)
    assert merge(THEN, generated_now(("Low tide", "Ebb"))).sheet.title == "Ebb"
    with pytest.raises(SheetError, match=r"convert with --engine mine\.toml"):
        merge(edited_text(("twin-phase", "mine.toml")), THEN)


SLOW = ("length    2000", "tempo     90")


def test_a_tempo_set_by_hand_outlives_another_step_and_engine() -> None:
    finer = replace(in_steps_of(BASE, Fraction(1, 2)).sheet, length=None, tempo=120.0)
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


def test_marks_metre_and_words_are_merged_each_for_itself() -> None:
    words = Comment(1, "words: ebb")
    then = with_digest(replace(BASE, loop_step=2, comments=(words,)))
    bars = list(then.bars)
    bars[0] = bars[0]._replace(section="Pier")
    hand = replace(then, bars=tuple(bars), loop_step=4, comments=(words, Comment(1, "mine")))
    now = with_digest(
        replace(edits.transposed(BASE, 2), loop_step=2, comments=(Comment(1, "words: flood"),)), 2
    )
    merged = merge(hand, now)
    assert merged.sheet.voice1 == now.voice1
    assert merged.sheet.loop_step == 4
    assert merged.sheet.bars == hand.bars
    assert merged.sheet.comments == (Comment(1, "mine"), Comment(1, "words: flood"))
    assert not merged.conflicts
    assert merged.kept == 0
    sections = tuple(bar._replace(section="Quay") for bar in now.bars[:1])
    other = with_digest(replace(now, bars=(*sections, *now.bars[1:]), loop_step=6), 2)
    both = merge(hand, other)
    assert (both.sheet.loop_step, both.sheet.bars[0].section) == (4, "Pier")
    assert [str(conflict) for conflict in both.conflicts] == [
        "the header: the loop mark was set by hand and is generated otherwise now: the hand's stays",
        "bar 1: its section mark by hand stays: it would be Quay now",
    ]
    gone = merge(replace(then, loop_step=None, comments=()), now).sheet
    assert (gone.loop_step, gone.comments) == (None, (Comment(1, "words: flood"),))


def test_a_metre_by_hand_stays_and_its_cells_with_it() -> None:
    long = edited_text(
        ("bar 2   2/4\n", "bar 2   3/4\n"),
        (
            "D4  -\n  voice 2   .   .\n  drums     .   .",
            "D4  -  A4\n  voice 2   ...\n  drums   ...",
        ),
    )
    merged = merge(long, edits.transposed(BASE, 2))
    assert not merged.conflicts, "the metre is generated as it was"
    assert (merged.sheet.bars[1].steps, merged.sheet.voice1[2:5]) == (3, (64, HOLD, 71))
    assert [bar.by_hand for bar in merged.bars] == [(), (0, 1, 2, 3), (), ()]
    short = generated_now(
        ("bar 2   2/4\n", "bar 2   1/4\n"),
        ("D4  -\n  voice 2   .   .\n  drums     .   .", "D4\n  voice 2   .\n  drums   ."),
        ("bar 3   2/4", "bar 3   2/4"),
    )
    assert merge(THEN, short).sheet == short
    assert merge(long, short).sheet.bars[1].steps == 3
    bars = list(THEN.bars)
    for numerator, denominator, said in ((4, 8, "4/8"), (2, 2, "2/2")):
        bars[1] = bars[1]._replace(numerator=numerator, denominator=denominator)
        other = merge(long, with_digest(replace(BASE, bars=tuple(bars))))
        assert f"bar 2: its metre by hand stays: it would be {said} now" in map(
            str, other.conflicts
        )
    beyond = edited_text(("D4  -", "D4  G4"))  # an edit where no step would be now
    kept = merge(beyond, short)
    assert (kept.sheet.bars[1].steps, kept.sheet.voice1[2:4]) == (2, (62, 67))
    assert "bar 2: its metre by hand stays: it would be 1/4 now" in map(str, kept.conflicts)


def test_a_sheet_written_by_hand_altogether_is_kept_altogether() -> None:
    hand = replace(BASE, voice1=(60, HOLD, 62, HOLD, 64, HOLD, 65, HOLD))
    merged = merge(hand, THEN)
    assert merged.sheet.voice1 == hand.voice1
    assert merged.kept == 1  # the others are as generated
    assert str(merged.conflicts[0]).startswith("the sheet: the generated lines are gone")


@given(st.integers(0, 2**32).map(random.Random))
@settings(max_examples=40, deadline=None)
def test_converting_again_in_the_same_way_leaves_the_file_as_it_was(rng: random.Random) -> None:
    then = edits.generated(rng)
    edited = edits.edit(rng, then).sheet
    merged = merge(edited, then)
    assert replace(merged.sheet, generated=None) == replace(numbered(edited), generated=None)
    assert merge(merged.sheet, then).sheet == merged.sheet
    assert not merged.conflicts
