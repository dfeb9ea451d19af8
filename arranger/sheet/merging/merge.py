"""Merging, three ways: the sheet as generated then, as edited since, and as generated now.

The edited sheet carries the one that was generated (`arranger.sheet.record.base`), so what a hand changed
and what the conversion changed is known to the step. The two voices, the drums, the metre, the loop
mark, the section mark and the comments of a bar are merged each for itself, and the rows step by step:

======================  ==================  =====================================
by hand                 by the conversion   the merged sheet has
======================  ==================  =====================================
as it was               either              it as generated now
changed                 as it was           the edit
changed                 changed             the edit, listed, the other as comment
bar inserted                                the inserted bar
bar taken out           as it was           nothing
bar taken out           changed             nothing, listed, the other as comment
bar as it was           gone                nothing
bar changed             gone                the edit, listed
                        new bar             the new bar, where the song has it
tone lengthened         another tone        that tone, lengthened alike
one between two edited  changed             it as it was, listed, the other as comment
bar as another one      either              the bar as that one is now
======================  ==================  =====================================

Tones by hand follow the key: they move by as many semitones as what is generated, and by octaves into
the engine's table, and those left beside them in their bar stay in their octaves; asked to be left as typed, they stay. A tone by hand is neither lengthened nor cut:
where one that is generated now was held over or after it, that one starts again behind it. In other
steps edits go to the nearest one; what then doesn't fit is listed and stands below as a comment.

Bars of the generated sheets are matched by the song's bar numbers, bars of the edited one by
`arranger.sheet.record.align`. Bars keep the numbers that the hand gave them; all numbers rise.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

from arranger.sheet.form.text import BELOW, ROWS
from arranger.sheet.merging.fitting import Fitting
from arranger.sheet.merging.merge_header import (
    check_engine,
    check_passage,
    merge_header,
    merge_loop,
    with_sounds,
)
from arranger.sheet.merging.merged_bars import as_by_hand, merge_bars, sides_of
from arranger.sheet.merging.not_taken import TYPED, not_taken, without_not_taken
from arranger.sheet.merging.pieces import WHOLE, Conflict, all_in_order, in_order
from arranger.sheet.merging.refit import between_steps
from arranger.sheet.merging.row_merge import merge_drums, merge_voice
from arranger.sheet.model import Comment, Generated, Sheet
from arranger.sheet.record.against import ALL_OF_BAR, DRUMS, METRE
from arranger.sheet.record.base import base_of
from arranger.sheet.record.packed_sheet import pack_record, unpack_record

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.engine.model import Engine
    from arranger.sheet.merging.merged_bars import MergedBars, PlannedBar, Sides
    from arranger.sheet.merging.row_merge import MergedDrums, MergedRow
    from arranger.sheet.record.packed_sheet import SheetRecord


class MergedBar(NamedTuple):
    """Where a bar of the merged sheet comes from."""

    by_hand: tuple[int, ...]
    """What of it is otherwise than generated now: 0 the metre, 1 and 2 the voices, 3 the drums."""
    now: int | None
    """Index of the bar in the sheet as generated now, whether taken or not; None: not in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Merge:
    """What merging came to."""

    sheet: Sheet
    bars: tuple[MergedBar, ...]
    """One a bar of the sheet."""
    conflicts: tuple[Conflict, ...]

    @property
    def kept(self) -> int:
        """In how many bars something is the hand's."""
        return sum(bool(bar.by_hand) for bar in self.bars)


def merge(
    edited: Sheet,
    now: Sheet,
    engine: Engine | None = None,
    *,
    as_typed: bool = False,
    two_hands: bool = False,
) -> Merge:
    """Join the hand's edits and the sheet as it is generated now.

    ``edited``: the sheet as edited, with its record of what was generated; one without it counts as
    edited in every bar.
    ``now``: the sheet as generated now, with its record.
    ``engine``: what ``now`` is for: edits that moved, or were made for another engine, are fitted
    to it. None: they aren't.
    ``as_typed``: leave tones and drums by hand as they are.
    ``two_hands``: ``now`` is by hand as well: what stands between two edits is nobody's.

    Raises `SheetError` if the engine was changed by hand to another than ``now`` is for, or ``now``
    is a passage of what the edited sheet is of.
    """
    base = base_of(edited)
    check_engine(edited, base, now)
    check_passage(edited, now)
    told = unpack_record(now.generated) if isinstance(now.generated, Generated) else None
    transposed = 0 if told is None else told.transpose
    moved = 0 if base.transpose is None else transposed - base.transpose
    sides = sides_of(edited, base, now, 0 if as_typed else moved)
    planned = merge_bars(sides)
    fitting = Fitting(None if as_typed else engine, sides)
    move = fitting.move._replace(phrases=not two_hands, left=moved if as_typed else 0)
    mine, then, rows = sides.mine.sheet, sides.then.sheet, planned.slots
    voices = [
        merge_voice(*voice, rows, planned.places, move)
        for voice in zip(mine.rows[:2], then.rows[:2], now.rows[:2], strict=True)
    ]
    drums = merge_drums(mine.drums, then.drums, now.drums, rows, fitting.drum)
    bars = _told(planned, sides, (*voices, drums))
    header, more = merge_header(edited, base, now)
    loop, loop_told = merge_loop(planned, sides)
    heads = [bar.head for bar in _with_as(planned, sides, (*voices, drums))]
    sheet = replace(
        header.with_rows((voices[0].cells, voices[1].cells, drums.cells)),
        bars=tuple(heads),
        loop_step=loop,
        comments=_comments(planned, edited),
        digest=now.digest,
        generated=_record(planned, now, voices, told),
    )
    sheet = with_sounds(sheet, edited, base, now)
    if sheet.sounds != now.sounds and edited.engine != now.engine:
        what = "the drum sounds are for another engine; arranger check tells which can't be played"
        more = [*more, Conflict(None, what)]
    if base.transpose is None and edited.generated is not None and not as_typed and transposed:
        what = "it isn't known in which key the edits were made: they stay as typed"
        more = [*more, Conflict(WHOLE, what)]
    if not base.known:
        what = "the generated lines are gone or damaged: every bar counts as by hand"
        more = [Conflict(WHOLE, what), *more]
    of_bars = (conflict for bar in planned.bars for conflict in bar.conflicts)
    return Merge(
        sheet=sheet,
        bars=tuple(bars),
        conflicts=(*more, *fitting.conflicts, *loop_told, *planned.conflicts, *of_bars),
    )


def _record(
    planned: MergedBars, now: Sheet, voices: Sequence[MergedRow], told: SheetRecord | None
) -> Generated:
    """Return the record of what is generated now, as the base of the next merge."""
    then = replace(now, voice1=voices[0].base, voice2=voices[1].base)
    standing = {bar.now: bar.head.number for bar in planned.bars if bar.now is not None}
    order = all_in_order(len(now.bars), list(standing))
    places = [standing.get(k) for k in order]
    numbers = [bar.head.number for bar in planned.bars]
    keys = tuple(told.keys[k] for k in order) if told is not None and told.keys else ()
    moved = 0 if told is None else told.transpose
    return pack_record(in_order(then, order), moved, places, numbers, keys)


def _told(
    planned: MergedBars, sides: Sides, rows: tuple[MergedRow | MergedDrums, ...]
) -> list[MergedBar]:
    """Tell of each bar what is the hand's, list what both changed, and let that stand below."""
    lost = _lost(sides)
    found: list[MergedBar] = []
    starts = planned.starts
    for bar, start, end in zip(planned.bars, starts, starts[1:], strict=False):
        by_hand = [METRE] if bar.metre_by_hand else []
        clashing: list[int] = []
        for number, row in enumerate(rows, 1):
            if any(row.by_hand[start:end]):
                by_hand.append(number)
            if any(row.clashing[start:end]):
                clashing.append(number)
        if bar.edited is not None and bar.now is None and bar.base is None:
            by_hand = [*ALL_OF_BAR]
        if clashing and bar.now is not None:
            names = " and ".join(ROWS[number] for number in clashing)
            what = f"{names} changed by hand, and generated otherwise now"
            bar.conflicts.append(
                Conflict(bar.head.number, f"{what}: the other stands below as a comment")
            )
            bar.comments = without_not_taken(bar.comments)
            bar.comments += not_taken(sides.now, bar.now, clashing)
        unfit = sorted({row for row, at in lost if bar.edited is not None and at == bar.edited})
        if unfit and bar.edited is not None:
            names = " and ".join(ROWS[number] for number in unfit)
            what = f"not all of {names} by hand fits the steps of {sides.now.step_beats} beat"
            bar.conflicts.append(Conflict(bar.head.number, f"{what}: it stands below as a comment"))
            typed = not_taken(sides.typed, bar.edited, unfit, head=TYPED)
            bar.comments += typed if not _stand_in(typed, bar.comments) else []
        found.append(MergedBar(tuple(by_hand), bar.now))
    return found


def _stand_in(some: Sequence[Comment], comments: Sequence[Comment]) -> bool:
    """Return whether the words of some comments stand in others, in a row."""
    words, all_words = [[each.text for each in group] for group in (some, comments)]
    return any(all_words[at : at + len(words)] == words for at in range(len(all_words)))


def _lost(sides: Sides) -> set[tuple[int, int]]:
    """Return row and bar, as typed, of what a hand made and the steps of now have no room for."""
    typed, base = sides.typed, sides.base
    rows, old = typed.rows, base.sheet.rows
    generated = {(row, step, old[row - 1][step]) for row, step in sides.then.lost}
    found: set[tuple[int, int]] = set()
    for row, step in sides.mine.lost:
        bar = bisect_right(typed.bar_starts, step) - 1
        i = base.matched[bar]
        if i is not None and base.known:
            then = step - typed.bar_starts[bar] + base.sheet.bar_starts[i]
            if (row, then, rows[row - 1][step]) in generated:
                continue
        found.add((row, bar))
    return found | {(DRUMS, bar) for bar in _silenced(sides)}


def _silenced(sides: Sides) -> set[int]:
    """Return the bars, as typed, where a hand took a hit away that lay between the steps of now.

    Back in steps that have it, the hit is generated again, and nothing would tell that it was gone.
    """
    typed, base = sides.typed, sides.base
    if base.sheet.step_beats != typed.step_beats:
        return set()
    found: set[int] = set()
    for step in between_steps(typed, sides.now.step_beats):
        bar = bisect_right(typed.bar_starts, step) - 1
        i, inside = base.matched[bar], step - typed.bar_starts[bar]
        if i is None or not base.known or inside >= base.sheet.bars[i].steps:
            continue
        if typed.drums[step] is None and base.sheet.drums[base.sheet.bar_starts[i] + inside]:
            found.add(bar)
    return found


def _with_as(
    planned: MergedBars, sides: Sides, rows: tuple[MergedRow | MergedDrums, ...]
) -> list[PlannedBar]:
    """Return the bars, those as another one that said so and still are."""
    by_hand = {bar.edited: at for at, bar in enumerate(planned.bars)}
    generated = {bar.now: at for at, bar in enumerate(planned.bars)}
    starts = planned.starts
    for at, bar in enumerate(planned.bars):
        target: int | None = None
        if bar.edited is not None and (bar.now is None or as_by_hand(bar, sides)):
            target = sides.typed.bars[bar.edited].as_bar
            target = None if target is None else by_hand.get(target)
        elif bar.now is not None:
            target = sides.now.bars[bar.now].as_bar
            target = None if target is None else generated.get(target)
        if target is None or target >= at:
            continue
        same = bar.head[1:4] == planned.bars[target].head[1:4] and all(
            row.cells[starts[at] : starts[at + 1]] == row.cells[starts[target] : starts[target + 1]]
            for row in rows
        )
        if same:
            bar.head = bar.head._replace(as_bar=target)
    return planned.bars


def _comments(planned: MergedBars, edited: Sheet) -> tuple[Comment, ...]:
    """Return the comments of the merged sheet, each at the bar where it stands now."""
    comments = [comment for comment in edited.comments if comment.bar == -1]
    for index, bar in enumerate(planned.bars):
        for comment in bar.comments:
            if bar.head.as_bar is not None and 0 < comment.row < BELOW:  # that row isn't written
                comment = comment._replace(row=BELOW, beside=False)
            comments.append(comment._replace(bar=index))
    end = len(planned.bars)
    comments += [Comment(end, text) for text in planned.last_comments]
    comments += [c._replace(bar=end) for c in edited.comments if c.bar >= len(edited.bars)]
    return tuple(sorted(comments, key=lambda c: (c.bar, c.row, c.beside)))
