"""Laws of edits of bars, held against a plain reading of what each bar plays."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from arranger.errors import SettingsError, UsageError
from arranger.rows import HOLD, REST
from arranger.sheet import Comment, Sheet, SheetBar, format_sheet, parse
from arranger.sheet.bar_edits.choice import Chosen, choose_bars, choose_place, choose_rows
from arranger.sheet.bar_edits.content import (
    clear_bars,
    fill_drums,
    swap_voices,
    transpose_bars,
)
from arranger.sheet.bar_edits.structure import (
    copy_bars,
    copy_over,
    delete_bars,
    insert_bars,
    move_bars,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from arranger.sheet.bar_edits.telling import BarEdit

METRES = [(8, 4, 4), (6, 3, 4), (6, 6, 8)]
CELLS = st.sampled_from([60, 62, 64, HOLD, HOLD, HOLD, REST])

Played = tuple[tuple[tuple[int | None, int | None, str | None], ...], ...]


@st.composite
def sheets(draw: st.DrawFn, *, fewest: int = 1, metres: int = 3) -> Sheet:
    """Sheets of a few bars with many holds, some of them as earlier ones, marked and commented."""
    bars: list[SheetBar] = []
    rows: list[tuple[tuple[int, ...], tuple[int, ...], tuple[str | None, ...]]] = []
    for index in range(draw(st.integers(fewest, 7))):
        source = draw(st.none() | st.integers(0, index - 1)) if index else None
        section = draw(st.sampled_from(["", "", "", "A", "B"]))
        if source is not None:
            bars.append(bars[source]._replace(number=0, as_bar=source, section=section))
            rows.append(rows[source])
            continue
        steps, numerator, denominator = draw(st.sampled_from(METRES[:metres]))
        bars.append(SheetBar(0, steps, numerator, denominator, None, section))
        voice = st.lists(CELLS, min_size=steps, max_size=steps).map(tuple)
        drums = st.lists(st.sampled_from([None, "kick"]), min_size=steps, max_size=steps)
        rows.append((draw(voice), draw(voice), draw(drums.map(tuple))))
    first = draw(st.sampled_from([1, 5]))  # a pickup has a test of its own
    steps = sum(bar.steps for bar in bars)
    places = draw(st.lists(st.integers(-1, len(bars)), max_size=4))
    return Sheet(
        title="Pier",
        engine="twin-phase",
        step_beats=Fraction(1, 2),
        step_setting=7028,
        bars=tuple(bar._replace(number=first + index) for index, bar in enumerate(bars)),
        voice1=tuple(cell for row in rows for cell in row[0]),
        voice2=tuple(cell for row in rows for cell in row[1]),
        drums=tuple(cell for row in rows for cell in row[2]),
        loop_step=draw(st.none() | st.integers(0, steps - 1)),
        comments=tuple(Comment(bar, f"note {n}") for n, bar in enumerate(sorted(places))),
    )


@st.composite
def chosen(draw: st.DrawFn, sheet: Sheet) -> Chosen:
    first = draw(st.integers(0, len(sheet.bars) - 1))
    return Chosen(first, draw(st.integers(first + 1, len(sheet.bars))))


def played(sheet: Sheet) -> Played:
    """Return what each bar plays: on each step the pitch of either voice, and the drum."""
    found, step = [], 0
    sounding: list[int | None] = [None, None]
    for bar in sheet.bars:
        steps = []
        for _ in range(bar.steps):
            for voice, row in enumerate((sheet.voice1, sheet.voice2)):
                if row[step] != HOLD:
                    sounding[voice] = None if row[step] == REST else row[step]
            steps.append((sounding[0], sounding[1], sheet.drums[step]))
            step += 1
        found.append(tuple(steps))
    return tuple(found)


def cells(sheet: Sheet, bar: int) -> tuple[object, ...]:
    start = sum(each.steps for each in sheet.bars[:bar])
    end = start + sheet.bars[bar].steps
    rows = (sheet.voice1[start:end], sheet.voice2[start:end], sheet.drums[start:end])
    return sheet.bars[bar][1:4], rows


def loop_place(sheet: Sheet) -> tuple[int, int] | None:
    """Return bar and step of the loop mark."""
    step = sheet.loop_step
    for index, bar in enumerate(sheet.bars):
        if step is None or step < bar.steps:
            return None if step is None else (index, step)
        step -= bar.steps
    return None


def check(sheet: Sheet) -> Sheet:
    """Hold what is true of every sheet against one."""
    assert sheet.steps == len(sheet.voice2) == len(sheet.drums) == sum(b.steps for b in sheet.bars)
    for index, bar in enumerate(sheet.bars):
        if bar.as_bar is not None:
            assert bar.as_bar < index
            assert cells(sheet, bar.as_bar) == cells(sheet, index)
    numbers = [bar.number for bar in sheet.bars]
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
    assert parse(format_sheet(sheet)).comments == sheet.comments
    return sheet


def texts(sheet: Sheet) -> list[str]:
    return [comment.text for comment in sheet.comments]


def alike(sheet: Sheet) -> list[set[int]]:
    """Return the bars that are as each other."""
    groups: dict[int, set[int]] = {}
    for index, bar in enumerate(sheet.bars):
        root = index
        while (source := sheet.bars[root].as_bar) is not None:
            root = source
        groups.setdefault(root, set()).add(index)
    return sorted(groups.values(), key=min)


same = lambda one, other: (  # noqa: E731
    played(one) == played(other)
    and [bar[:4] for bar in one.bars] == [bar[:4] for bar in other.bars]
    and loop_place(one) == loop_place(other)
    and one.comments == other.comments
)


@given(st.data(), sheets())
def test_a_copy_that_is_deleted_leaves_no_trace(data: st.DataObject, sheet: Sheet) -> None:
    bars, to = data.draw(chosen(sheet)), data.draw(st.integers(0, len(sheet.bars)))
    times, linked = data.draw(st.integers(1, 2)), data.draw(st.booleans())
    copied = check(copy_bars(sheet, bars, to, times=times, linked=linked).sheet)
    count = times * (bars.end - bars.first)
    was, now = played(sheet), played(copied)
    assert now[to : to + count] == was[bars.first : bars.end] * times
    assert now[:to] + now[to + count :] == was
    back = check(delete_bars(copied, Chosen(to, to + count)).sheet)
    assert same(back, sheet)


@given(st.data(), sheets())
def test_a_linked_copy_is_as_its_source(data: st.DataObject, sheet: Sheet) -> None:
    bars, to = data.draw(chosen(sheet)), data.draw(st.integers(0, len(sheet.bars)))
    found = copy_bars(sheet, bars, to, linked=True)
    count = bars.end - bars.first
    apart = found.sheet.bars
    if "written out" in found.told:
        return
    groups = alike(check(found.sheet))
    for offset in range(count):
        source = bars.first + offset
        source += count if source >= to else 0
        assert any({source, to + offset} <= group for group in groups), apart


@given(st.data(), sheets())
def test_empty_bars_that_are_deleted_leave_no_trace(data: st.DataObject, sheet: Sheet) -> None:
    to, count = data.draw(st.integers(0, len(sheet.bars))), data.draw(st.integers(1, 3))
    found = check(insert_bars(sheet, count, to, data.draw(st.sampled_from(["", "3/4"]))).sheet)
    new = played(found)[to : to + count]
    assert all(step == (None, None, None) for bar in new for step in bar)
    back = check(delete_bars(found, Chosen(to, to + count)).sheet)
    assert same(back, sheet)
    assert [bar.section for bar in back.bars] == [bar.section for bar in sheet.bars]


@given(st.data(), sheets())
def test_bars_that_move_there_and_back_are_where_they_were(
    data: st.DataObject, sheet: Sheet
) -> None:
    bars, to = data.draw(chosen(sheet)), data.draw(st.integers(0, len(sheet.bars)))
    assume(not bars.first < to < bars.end)
    count = bars.end - bars.first
    moved = check(move_bars(sheet, bars, to).sheet)
    order = [*range(len(sheet.bars))]
    order = [k for k in order[:to] if k not in bars.keys] + [*bars.keys] + [
        k for k in order[to:] if k not in bars.keys
    ]  # fmt: skip
    was = played(sheet)
    assert played(moved) == tuple(was[key] for key in order)
    assert sorted(texts(moved)) == sorted(texts(sheet))
    mark = loop_place(sheet)
    assert loop_place(moved) == (mark and (order.index(mark[0]), mark[1]))
    there = order.index(bars.first)
    home = bars.first if there > bars.first else bars.end
    home = bars.first + (count if there < bars.first else 0)
    back = check(move_bars(moved, Chosen(there, there + count), home).sheet)
    assert same(back, sheet)
    assert [bar[:4] + bar[5:] for bar in back.bars] == [bar[:4] + bar[5:] for bar in sheet.bars]


@given(st.data(), sheets())
def test_bars_that_are_deleted_are_all_that_goes(data: st.DataObject, sheet: Sheet) -> None:
    bars = data.draw(chosen(sheet))
    assume(bars.end - bars.first < len(sheet.bars))
    left = check(delete_bars(sheet, bars).sheet)
    was = played(sheet)
    assert played(left) == was[: bars.first] + was[bars.end :]
    gone = [c.text for c in sheet.comments if bars.first <= c.bar < bars.end]
    assert texts(left) == [text for text in texts(sheet) if text not in gone]
    mark = loop_place(sheet)
    if mark is not None and mark[0] in bars.keys:
        expected = (bars.first, 0) if bars.end < len(sheet.bars) else None
        assert loop_place(left) == expected
    links = [{bar for bar in group if bar not in bars.keys} for group in alike(sheet)]
    count = bars.end - bars.first
    expected_links = [
        {bar - count if bar >= bars.end else bar for bar in group} for group in links if group
    ]
    if left.voice1.count(HOLD) == sheet.voice1.count(HOLD):  # no bar had to be written out
        assert all(any(a <= b for b in expected_links) for a in alike(left))


CONTENT: list[Callable[[Sheet, Chosen], BarEdit]] = [
    lambda sheet, bars: transpose_bars(sheet, bars, 3),
    lambda sheet, bars: transpose_bars(sheet, bars, -5, (1,)),
    swap_voices,
    clear_bars,
    lambda sheet, bars: clear_bars(sheet, bars, (0, 2)),
    lambda sheet, bars: fill_drums(sheet, bars, ["hat", None, None]),
]


@given(st.data(), sheets(), st.sampled_from(CONTENT))
def test_what_other_bars_play_stays(
    data: st.DataObject, sheet: Sheet, edit: Callable[[Sheet, Chosen], BarEdit]
) -> None:
    bars = data.draw(chosen(sheet))
    found = check(edit(sheet, bars).sheet)
    was, now = played(sheet), played(found)
    changed: set[int] = set()
    for index, bar in enumerate(sheet.bars):
        if index in bars.keys or bar.as_bar in changed:
            changed.add(index)
        else:
            assert now[index] == was[index]
    assert found.comments == sheet.comments
    assert found.loop_step == sheet.loop_step


@given(st.data(), sheets())
def test_a_transposed_bar_plays_the_same_higher(data: st.DataObject, sheet: Sheet) -> None:
    bars = data.draw(chosen(sheet))
    found = transpose_bars(sheet, bars, 7, (0,)).sheet
    for index in bars.keys:
        for (one, two, drum), now in zip(played(sheet)[index], played(found)[index], strict=True):
            assert now == (None if one is None else one + 7, two, drum)
    assert same(transpose_bars(found, bars, -7, (0,)).sheet, sheet)


@given(st.data(), sheets())
def test_voices_that_are_swapped_twice_are_as_they_were(data: st.DataObject, sheet: Sheet) -> None:
    bars = data.draw(chosen(sheet))
    found = swap_voices(sheet, bars).sheet
    for index in bars.keys:
        for (one, two, drum), now in zip(played(sheet)[index], played(found)[index], strict=True):
            assert now == (two, one, drum)
    assert same(swap_voices(found, bars).sheet, sheet)


@given(st.data(), sheets())
def test_all_bars_that_are_as_an_edited_one_follow(data: st.DataObject, sheet: Sheet) -> None:
    source = data.draw(st.sampled_from(range(len(sheet.bars))))
    found = fill_drums(sheet, Chosen(source, source + 1), ["snare"]).sheet
    followers = {source}
    for index, bar in enumerate(sheet.bars):
        if bar.as_bar in followers:
            followers.add(index)
    hit = {index for index, bar in enumerate(played(found)) if bar[0][2] == "snare"}
    assert hit == followers


@given(st.data(), sheets(fewest=2, metres=1))
def test_rows_are_copied_over_others(data: st.DataObject, sheet: Sheet) -> None:
    bars = data.draw(chosen(sheet))
    to = data.draw(st.integers(0, len(sheet.bars) - (bars.end - bars.first)))
    rows = data.draw(st.sampled_from([(0,), (1,), (2,), (0, 2), (0, 1, 2)]))
    found = check(copy_over(sheet, bars, to, rows).sheet)
    was, now = played(sheet), played(found)
    for offset, source in enumerate(bars.keys):
        for step, sounds in enumerate(now[to + offset]):
            for row in range(3):
                origin = source if row in rows else to + offset
                assert sounds[row] == was[origin][step][row]
    assert found.comments == sheet.comments


def little(*bars: str, **values: object) -> Sheet:
    """Return a sheet of bars, each the cells of voice 1."""
    blocks = [f"bar {n}   4/4\n  voice 1   {cells}\n" for n, cells in enumerate(bars, 1)]
    head = "arranger-sheet 1\nengine twin-phase\nstep 1 beat\nlength 7028\n"
    return replace(parse(head + "\n".join(blocks)), **values)  # type: ignore[arg-type]


def voice1(sheet: Sheet) -> list[str]:
    return [line.split(None, 2)[2] for line in format_sheet(sheet).splitlines() if "voice 1" in line]


def test_a_tone_held_into_copied_bars_starts_anew_and_one_held_out_of_them_ends() -> None:
    sheet = little("C4 - - -", "- - D4 -", "- . . .")
    found = copy_bars(sheet, Chosen(1, 2), 3)
    assert voice1(found.sheet)[3].split() == ["C4", "-", "D4", "-"]
    found = copy_bars(sheet, Chosen(1, 2), 1)
    rows = [cells.replace("|", "").split() for cells in voice1(found.sheet)]
    assert rows == [
        ["C4", "-", "-", "-"], ["-", "-", "D4", "-"], ["C4", "-", "D4", "-"], ["-", ".", ".", "."],
    ]  # fmt: skip
    assert "bar 3 starts anew what was held there" in found.told
