"""Edits by which bars come, go and move. Bars count on in numbers afterwards."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from arranger.bars import parse_metre
from arranger.errors import SettingsError, UsageError
from arranger.rows import REST
from arranger.sheet.bar_edits.edit_told import BarEdit, told_content, told_structure
from arranger.sheet.bar_edits.taken_apart import (
    MovableBar,
    chain_of,
    changed,
    put_together,
    take_apart,
)
from arranger.sheet.bar_edits.which_bars import ALL_ROWS, Chosen, numbered, rows_in_words
from arranger.sheet.bar_edits.with_record import with_record
from arranger.sheet.form.text import implied_steps
from arranger.sheet.model import SheetBar

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from arranger.sheet.model import Sheet

_NO_SECTION = "other"
"""The name of what lies between sections, as conversion calls it."""

MOST_TIMES = 1000
"""Copies, and empty bars, made at once."""


def copy_bars(
    sheet: Sheet, bars: Chosen, to: int, *, times: int = 1, linked: bool = False
) -> BarEdit:
    """Return the sheet with a copy of some bars put in.

    Comments aren't copied, nor the loop mark; section marks are. A bar that is as another one in the
    copied bars is so in the copy too.

    ``to``: in front of which bar (an index); the number of bars: at the end.
    ``times``: how many copies, one after the other.
    ``linked``: whether the copied bars are as those that they were copied from; those that stand
    later name those before.

    Raises `UsageError` if ``times`` isn't from 1 to `MOST_TIMES`; `LimitError` if the sheet becomes
    too long.
    """
    _check_times(times, "times")
    blocks = take_apart(sheet)
    new: list[MovableBar] = []
    for time in range(times):
        shift = len(blocks) * (time + 1)  # keys that no other bar has
        for source in blocks[bars.first : bars.end]:
            inside = source.as_of is not None and source.as_of in bars.keys
            target = source.key if linked else None
            if inside and not linked and source.as_of is not None:
                target = source.as_of + shift
            head = source.head._replace(as_bar=target)
            new.append(
                replace(
                    source, key=source.key + shift, head=head, as_of=target, loop=None, comments=()
                )
            )
    order, goes_on = _sections_kept(blocks, [*blocks[:to], *new, *blocks[to:]], range(len(blocks)))
    joined = put_together(sheet, order, renumber=True)
    copies = range(to, to + len(new))
    what = f"{numbered(sheet, bars.keys)} copied to {numbered(joined.sheet, copies)}"
    if linked:
        what += _as_those(len(new), bars.end - bars.first)
    kept = _kept(blocks, to, len(new))
    noted = with_record(sheet, joined.sheet, kept)
    told = told_structure(what, sheet, joined, kept)
    return BarEdit(noted, told).remarked(*_goes_on(joined.sheet, goes_on))


def copy_over(
    sheet: Sheet, bars: Chosen, to: int, rows: Sequence[int] = ALL_ROWS, *, linked: bool = False
) -> BarEdit:
    """Return the sheet with some rows of some bars written over those of others.

    Whole bars take their metre with them; marks and comments stay where they are.

    ``sheet``, ``bars``, ``linked``: as for `copy_bars`.
    ``to``: the first bar (an index) that is written over.

    Raises `SettingsError` if there are fewer bars than are copied, or rows of bars differ in steps;
    `UsageError` if ``linked`` is asked for rows, or for bars that are copied over themselves.
    """
    count = bars.end - bars.first
    last = to + count
    if last > len(sheet.bars):
        there = len(sheet.bars) - to
        raise SettingsError(
            f"{count} bars are copied, but there {'is' if there == 1 else 'are'} only {there} "
            "to write over",
            remedy="copy fewer, or without --over and --row, which puts new bars in",
        )
    whole = tuple(rows) == ALL_ROWS
    if linked and not whole:
        raise UsageError("--as is for whole bars", remedy="leave --row or --as out")
    if linked and bars.first < last and to < bars.end:
        raise UsageError(
            "bars can't be as themselves", remedy="copy them elsewhere, or without --as"
        )
    blocks = take_apart(sheet)
    targets = range(to, last)

    def over(block: MovableBar) -> MovableBar:
        source = blocks[bars.first + block.key - to]
        if whole:
            return block.with_cells_of(source)
        if source.head.steps != block.head.steps:
            raise SettingsError(
                f"bar {source.head.number} has {source.head.steps} steps and bar "
                f"{block.head.number} has {block.head.steps}, so that rows don't fit",
                remedy="copy whole bars with --over, or bars of the same metre",
            )
        return block.with_rows_of(source, rows)

    found, followers = changed(blocks, targets, over)
    if linked:
        links = {block.key: block.as_of for block in found}
        for block in found[to:last]:
            source = bars.first + block.key - to
            if block.key not in chain_of(links, source):
                links[block.key] = source
                head = block.head._replace(as_bar=source)
                found[block.key] = replace(block, as_of=source, head=head)
    joined = put_together(sheet, found)
    what = f"{rows_in_words(sheet, bars.keys, rows)} copied over {numbered(sheet, targets)}"
    if linked:
        what += _as_those(count, count)
    noted = with_record(sheet, joined.sheet, range(len(blocks)))
    return BarEdit(noted, told_content(what, sheet, joined, followers, targets))


def insert_bars(sheet: Sheet, count: int, to: int, metre: str = "") -> BarEdit:
    """Return the sheet with silent bars put in front of a bar.

    ``to``: in front of which bar (an index); the number of bars: at the end.
    ``metre``: their metre, like "3/4"; "": that of the bar there.

    Raises `UsageError` if ``count`` isn't from 1 to `MOST_TIMES`, or ``metre`` is none;
    `SettingsError` if steps don't divide the metre.
    """
    _check_times(count, "bars")
    beside = sheet.bars[min(to, len(sheet.bars) - 1)]
    numerator, denominator = beside.numerator, beside.denominator
    if metre:
        numerator, denominator = parse_metre(metre)
    steps = implied_steps(sheet.step_beats, numerator, denominator)
    if steps is None and metre:
        raise SettingsError(
            f"a bar of {metre} is no whole number of steps of {sheet.step_beats} beat",
            remedy="choose another metre",
        )
    steps = beside.steps if steps is None else steps
    silent = (REST,) * steps
    blocks = take_apart(sheet)
    new = [
        MovableBar(
            key=len(blocks) + index,
            head=SheetBar(0, steps, numerator, denominator),
            rows=(silent, silent, (None,) * steps),
        )
        for index in range(count)
    ]
    joined = put_together(sheet, [*blocks[:to], *new, *blocks[to:]], renumber=True)
    shown = numbered(joined.sheet, range(to, to + count))
    what = f"{shown} put in, {numerator}/{denominator} and silent"
    kept = _kept(blocks, to, count)
    noted = with_record(sheet, joined.sheet, kept)
    return BarEdit(noted, told_structure(what, sheet, joined, kept))


def delete_bars(sheet: Sheet, bars: Chosen) -> BarEdit:
    """Return the sheet without some bars, and without the comments on them.

    A loop mark goes to the bar after them. So does the section mark, if that bar has none: the
    section goes on there.

    Raises `SettingsError` if no bar would be left.
    """
    blocks = take_apart(sheet)
    gone, after = blocks[bars.first : bars.end], blocks[bars.end :]
    left = [*blocks[: bars.first], *after]
    if not left:
        raise SettingsError("no bar would be left", remedy="clear them, or delete fewer")
    loop = any(block.loop is not None for block in gone)
    if after:
        section = next((b.head.section for b in reversed(gone) if b.head.section), "")
        heir = after[0]
        heir = replace(
            heir,
            head=heir.head._replace(section=heir.head.section or section),
            loop=0 if loop else heir.loop,
        )
        left[bars.first] = heir
    joined = put_together(sheet, left, renumber=True)
    what = f"{numbered(sheet, bars.keys)} deleted"
    comments = sum(len(block.comments) for block in gone)
    if comments:
        what += f" with {comments} {'comment' if comments == 1 else 'comments'}"
    if loop:
        number = joined.sheet.bars[bars.first].number if after else None
        what += (
            "; the loop mark is gone" if number is None else f"; the loop is at bar {number} now"
        )
    kept = [block.key for block in left]
    noted = with_record(sheet, joined.sheet, kept)
    return BarEdit(noted, told_structure(what, sheet, joined, kept))


def move_bars(sheet: Sheet, bars: Chosen, to: int) -> BarEdit:
    """Return the sheet with some bars in another place, with their marks and comments.

    ``sheet``, ``bars``: as for `copy_bars`.
    ``to``: in front of which bar (an index) they go; the number of bars: to the end.

    Raises `UsageError` if that is one of themselves.
    """
    if bars.first < to < bars.end:
        shown = numbered(sheet, bars.keys)
        raise UsageError(
            f"{shown} can't go in front of bar {sheet.bars[to].number}, one of themselves",
            remedy="give a bar outside them",
        )
    blocks = take_apart(sheet)
    moved = blocks[bars.first : bars.end]
    before = [block for block in blocks[:to] if block.key not in bars.keys]
    after = [block for block in blocks[to:] if block.key not in bars.keys]
    stay = {block.key for block in (*before, *after)}
    order, goes_on = _sections_kept(blocks, [*before, *moved, *after], stay)
    joined = put_together(sheet, order, renumber=True)
    place = range(len(before), len(before) + len(moved))
    what = f"{numbered(sheet, bars.keys)} moved: now {numbered(joined.sheet, place)}"
    keys = [None if block.key in bars.keys else block.key for block in order]
    noted = with_record(sheet, joined.sheet, [block.key for block in order])
    told = told_structure(what, sheet, joined, keys)
    return BarEdit(noted, told).remarked(*_goes_on(joined.sheet, goes_on))


def _sections_kept(
    blocks: Sequence[MovableBar], order: Sequence[MovableBar], stay: Collection[int]
) -> tuple[list[MovableBar], list[int]]:
    """Return bars in a new order, and where marks were set so that a bar that stays keeps its section.

    ``blocks``: the bars as they stood.
    ``order``: the bars as they stand now, some new.
    ``stay``: the keys of those that neither moved nor are new.
    """
    was, name = {}, ""
    for block in blocks:
        name = was[block.key] = block.head.section or name
    found, marked, name = list(order), [], ""
    for place, block in enumerate(order):
        before, name = name, block.head.section or name
        own = was[block.key] or _NO_SECTION if block.key in stay else name
        if own != name and (was[block.key] or before):
            found[place] = replace(block, head=block.head._replace(section=own))
            marked.append(place)
            name = own
    return found, marked


def _goes_on(sheet: Sheet, marked: Sequence[int]) -> list[str]:
    bars = [sheet.bars[place] for place in marked]
    return [f"section {bar.section} goes on at bar {bar.number}" for bar in bars]


def _as_those(copies: int, sources: int) -> str:
    return f", which {'is' if copies == 1 else 'are'} as {'that one' if sources == 1 else 'those'}"


def _kept(blocks: Sequence[MovableBar], to: int, count: int) -> list[int | None]:
    """Return for each bar which one it was, where new ones were put in."""
    keys: list[int | None] = [block.key for block in blocks]
    return [*keys[:to], *([None] * count), *keys[to:]]


def _check_times(count: int, what: str) -> None:
    if not 1 <= count <= MOST_TIMES:
        raise UsageError(f"{count} {what} can't be put in", remedy=f"give from 1 to {MOST_TIMES:,}")
