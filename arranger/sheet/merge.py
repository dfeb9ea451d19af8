"""Merging by bar, three ways: the sheet as generated, as edited, and as it is generated now.

The sheet as generated isn't needed itself: the edited sheet carries a digest of each of its bars
(`arranger.sheet.digest`), which tells what a hand changed and what the conversion changed. Then

======================  ==================  =====================================
by hand                 by the conversion   the merged sheet has
======================  ==================  =====================================
as it was               either              the bar as generated now
changed                 as it was           the edit
changed                 changed             the edit, listed, the other as comment
inserted                                    the inserted bar
taken out               as it was           nothing
taken out               changed             nothing, listed, the other as comment
as it was               gone                nothing
changed                 gone                the edit, listed
                        new                 the new bar, where the song has it
======================  ==================  =====================================

An edited bar is never changed. A bar that is generated now and begins with a held tone which the
edit before it doesn't leave sounding starts that tone itself. Comments are all kept. Bars of the
generated sheets are matched by the song's bar numbers, bars of the edited one by
`arranger.sheet.align`.

When the steps are finer now by a whole factor, the edited sheet is first written in the finer
steps, which sounds the same. Otherwise the two can't be joined, and `merge` says what to do.
"""

from __future__ import annotations

import shlex
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SheetError
from arranger.rows import HOLD, REST
from arranger.sheet.align import Pair, match_bars, pair_bars
from arranger.sheet.as_bars import written_out
from arranger.sheet.digest import bar_digests, generated_parts, sounds_digest, value_digest
from arranger.sheet.model import BarDigest, Comment, Sheet
from arranger.sheet.pieces import Bar, Conflict, Piece, cut, repair_holds
from arranger.sheet.text import BELOW, ROWS, group_steps, rows_text, speed_text

if TYPE_CHECKING:
    from collections.abc import Sequence
    from fractions import Fraction


NOT_TAKEN = "generated now, but the edit was kept:"
_NOT_TAKEN_LINES = 4
_BOTH_CHANGED = "changed by hand, and generated otherwise now: the other stands below as a comment"


class MergedBar(NamedTuple):
    """Where a bar of the merged sheet comes from."""

    by_hand: bool
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
        """How many bars are the hand's."""
        return sum(bar.by_hand for bar in self.bars)


def merge(edited: Sheet, now: Sheet) -> Merge:
    """Join the hand's edits and the sheet as it is generated now.

    Parameters
    ----------
    edited
        The sheet as edited, with the digests of what was generated; one without them counts as
        edited in every bar.
    now
        The sheet as generated now, with its digests.

    Raises
    ------
    SheetError
        If the engine was changed by hand to another than ``now`` is for, or the steps of the two
        sheets can't be joined.
    """
    _check_engine(edited, now)
    sides = _sides(edited, now)
    decided = [_decide(pair, sides) for pair in sides.pairs]
    pieces = [piece for piece, _ in decided]
    conflicts = [conflict for _, conflict in decided if conflict is not None]
    if all(piece.bar is None for piece in pieces):
        pieces += [Piece(bar, False, k, [], bar.held) for k, bar in enumerate(sides.now_bars)]
    conflicts += repair_holds(pieces)
    header, more = _header(edited, now)
    sheet = _with_sounds(_assemble(pieces, header, edited), edited, now)
    if sheet.sounds != now.sounds and edited.engine != now.engine:
        what = "the drum sounds are for another engine; arranger check tells which can't be played"
        more = [*more, Conflict(None, what)]
    return Merge(
        sheet=_with_base(sheet, pieces, now),
        bars=tuple(MergedBar(piece.by_hand, piece.now) for piece in pieces if piece.bar),
        conflicts=(*more, *conflicts),
    )


def in_steps_of(sheet: Sheet, step_beats: Fraction) -> Sheet:
    """Return the sheet written in finer steps; it sounds the same at the right step length.

    Raises
    ------
    SheetError
        If a step is no whole number of the new steps.
    """
    factor = sheet.step_beats / step_beats
    if factor.denominator != 1:
        raise SheetError(
            f"the edited sheet has steps of {sheet.step_beats} beat, the new one of {step_beats}, "
            "so that edits can't be joined to it",
            remedy=f"convert with --step {sheet.step_beats} to keep the edits",
        )
    times = factor.numerator
    if times == 1:
        return sheet
    return replace(
        sheet,
        step_beats=step_beats,
        bars=tuple(bar._replace(steps=bar.steps * times) for bar in sheet.bars),
        voice1=_finer(sheet.voice1, times),
        voice2=_finer(sheet.voice2, times),
        drums=tuple(
            cell for drum in sheet.drums for cell in (drum, *(None for _ in range(times - 1)))
        ),
        loop_step=None if sheet.loop_step is None else sheet.loop_step * times,
    )


def _finer(row: Sequence[int], times: int) -> tuple[int, ...]:
    held = (HOLD,) * (times - 1)
    silent = (REST,) * (times - 1)
    return tuple(c for cell in row for c in (cell, *(silent if cell == REST else held)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sides:
    """Both sheets cut into bars, and what belongs together."""

    now: Sheet
    base: Sequence[BarDigest]
    edited_bars: list[Bar]
    edited_digests: Sequence[str]
    """Of the bars as they were typed."""
    finer_digests: Sequence[str]
    """Of the bars in the steps of the sheet as generated now."""
    now_bars: list[Bar]
    now_digests: Sequence[str]
    comments: dict[int, list[Comment]]
    """The hand's, by bar."""
    pairs: list[Pair]


def _sides(edited: Sheet, now: Sheet) -> _Sides:
    digests = bar_digests(edited)
    numbers = [bar.number for bar in edited.bars]
    if edited.generated is None:
        base: Sequence[BarDigest] = [BarDigest(number, "") for number in numbers]
        matched: list[int | None] = list(range(len(numbers)))
    else:
        base = edited.generated.bars
        matched = match_bars(base, digests, numbers)
    finer = in_steps_of(edited, now.step_beats)
    comments: dict[int, list[Comment]] = {}
    for comment in edited.comments:
        comments.setdefault(comment.bar, []).append(comment)
    return _Sides(
        now=now,
        base=base,
        edited_bars=cut(finer),
        edited_digests=digests,
        finer_digests=bar_digests(finer),
        now_bars=cut(now),
        now_digests=bar_digests(now),
        comments=comments,
        pairs=pair_bars(matched, [b.number for b in base], [b.number for b in now.bars]),
    )


def _decide(pair: Pair, sides: _Sides) -> tuple[Piece, Conflict | None]:
    """Return what the merged sheet has for a bar, and what hand and conversion disagree about."""
    j, i, k = pair
    now = None if k is None else sides.now_bars[k]
    was = None if i is None else sides.base[i].digest
    changed_now = k is not None and sides.now_digests[k] != was
    if j is None:
        if i is None or now is None or not changed_now:
            taken = now if i is None else None
            return Piece(taken, False, k, [], now.held if now else (None, None)), None
        number = now.head.number
        conflict = Conflict(number, "taken out by hand, and generated otherwise now")
        return Piece(None, False, k, _not_taken(now, sides.now, f"bar {number} ")), conflict
    mine = sides.edited_bars[j]
    own = sides.comments.get(j, [])
    if sides.edited_digests[j] == was:
        if now is None:
            return Piece(None, False, None, own), None
        renumbered = i is not None and sides.base[i].number != mine.head.number
        if renumbered:
            now = replace(now, head=now.head._replace(number=mine.head.number))
        return Piece(now, False, k, own, now.held, None if changed_now else mine.held), None
    if now is not None and k is not None and sides.finer_digests[j] == sides.now_digests[k]:
        return Piece(mine, False, k, own, now.held, mine.held), None
    if now is not None and changed_now:
        conflict = Conflict(mine.head.number, _BOTH_CHANGED)
        own = [*_without_not_taken(own), *_not_taken(now, sides.now)]
        return Piece(mine, True, k, own, mine.held), conflict
    if now is None and i is not None:
        conflict = Conflict(mine.head.number, "changed by hand, and no longer generated")
        return Piece(mine, True, None, own, mine.held), conflict
    return Piece(mine, True, k, own, mine.held), None


def _not_taken(bar: Bar, sheet: Sheet, which: str = "") -> list[Comment]:
    """Return a bar as comments, to stand below the edit; without its ``#`` each line is a row."""
    group = group_steps(sheet.step_beats, bar.head.numerator, bar.head.denominator)
    rows = rows_text(bar.voice1, bar.voice2, bar.drums, group)
    lines = (f"{ROWS[row]:<10}{cells}" for row, cells in enumerate(rows, 1))
    return [Comment(0, text, BELOW) for text in (which + NOT_TAKEN, *lines)]


def _without_not_taken(comments: list[Comment]) -> list[Comment]:
    """Return the comments without a version that an earlier merge left below."""
    kept = list(comments)
    for at in range(len(kept) - 1, -1, -1):
        block = kept[at : at + _NOT_TAKEN_LINES]
        starts = [ROWS[row] for row in range(1, _NOT_TAKEN_LINES)]
        if block[0].text == NOT_TAKEN and all(
            comment.text.startswith(start)
            for comment, start in zip(block[1:], starts, strict=False)
        ):
            del kept[at : at + _NOT_TAKEN_LINES]
    return kept


def _assemble(pieces: list[Piece], header: Sheet, edited: Sheet) -> Sheet:
    """Put the bars together under a header."""
    bars = [(piece, piece.bar) for piece in pieces if piece.bar is not None]
    comments = [comment for comment in edited.comments if comment.bar == -1]
    carried: list[str] = []
    index = 0
    for piece in pieces:
        if piece.bar is None:
            carried += [comment.text for comment in piece.comments]
            continue
        comments += [Comment(index, text) for text in carried]
        comments += [comment._replace(bar=index) for comment in piece.comments]
        carried = []
        index += 1
    comments += [Comment(index, text) for text in carried]
    comments += [c._replace(bar=index) for c in edited.comments if c.bar >= len(edited.bars)]
    return replace(
        header,
        bars=written_out([bar.head for _, bar in bars]),
        voice1=tuple(cell for _, bar in bars for cell in bar.voice1),
        voice2=tuple(cell for _, bar in bars for cell in bar.voice2),
        drums=tuple(cell for _, bar in bars for cell in bar.drums),
        loop_step=_loop_step(bars),
        comments=tuple(sorted(comments, key=lambda c: (c.bar, c.row, c.beside))),
    )


def _loop_step(bars: list[tuple[Piece, Bar]]) -> int | None:
    """Return the step to go back to; an edited bar's mark outdoes a generated one's."""
    found: dict[bool, int] = {}
    start = 0
    for piece, bar in bars:
        if bar.loop is not None:
            found.setdefault(piece.by_hand, start + bar.loop)
        start += bar.head.steps
    return found.get(True, found.get(False))


def _with_base(sheet: Sheet, pieces: list[Piece], now: Sheet) -> Sheet:
    """Return the sheet with what was generated now as the base of the next merge."""
    base = list(generated_parts(now).bars)
    standing = [piece for piece in pieces if piece.bar is not None]
    for piece, digest in zip(standing, bar_digests(sheet), strict=True):
        if not piece.by_hand and piece.now is not None:
            base[piece.now] = base[piece.now]._replace(digest=digest)
    return replace(
        sheet, digest=now.digest, generated=generated_parts(now)._replace(bars=tuple(base))
    )


def _check_engine(edited: Sheet, now: Sheet) -> None:
    base = edited.generated
    by_hand = base is not None and value_digest(edited.engine) != base.engine
    if by_hand and edited.engine != now.engine:
        raise SheetError(
            f"the edited sheet is for the engine {edited.engine!r}, the new one for {now.engine!r}",
            remedy=f"convert with --engine {shlex.quote(edited.engine)} to keep the edit",
        )


def _header(edited: Sheet, now: Sheet) -> tuple[Sheet, list[Conflict]]:
    """Return the header of the merged sheet: what the hand changed in it outdoes the new."""
    base = edited.generated
    conflicts: list[Conflict] = []
    header = now
    if base is None or value_digest(edited.title) != base.title:
        header = replace(header, title=edited.title)
    if base is None or value_digest(edited.speed) != base.speed:
        header, conflicts = _with_speed(header, edited, now)
    return header, conflicts


def _with_speed(header: Sheet, edited: Sheet, now: Sheet) -> tuple[Sheet, list[Conflict]]:
    """Return the header as fast as the hand set it, and what the conversion asks otherwise.

    A tempo means the same on any engine and step; a length only on those that it was set for.
    """
    if edited.speed in (None, now.speed):
        return header, []
    mine, other = speed_text(edited), speed_text(now)
    same_steps = (edited.step_beats, edited.engine) == (now.step_beats, now.engine)
    if edited.length is not None and not same_steps:
        what = f"{mine} was set by hand for another step or engine: it is {other} now"
        return header, [Conflict(None, what)]
    header = replace(header, tempo=edited.tempo, length=edited.length)
    if "--tempo" not in shlex.split(now.settings):
        return header, []
    what = f"{mine} was set by hand, though --tempo asks for {other}: the hand's stays"
    return header, [Conflict(None, what)]


def _with_sounds(sheet: Sheet, edited: Sheet, now: Sheet) -> Sheet:
    """Return the sheet with the drum sounds of both; of two with one name the hand's, if changed.

    Those that no hand changed stay only where something of the sheet is still played with them.
    """
    mine, others = ({sound.name: sound for sound in side.sounds} for side in (edited, now))
    base = edited.generated
    if base is None or sounds_digest(edited) != base.sounds:
        # the hand's first, so that the comments on them stay where they are
        sounds = mine | others | mine
    else:
        sounds = {name: mine[name] for name in mine if name in sheet.drums} | others
    return replace(sheet, sounds=tuple(sounds.values()))
