"""The bars of a merged sheet: which they are, their metres, marks and comments, step by step.

`merge_bars` decides bar by bar what stands; `arranger.sheet.merging.merge` then fills the rows.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import accumulate
from typing import TYPE_CHECKING

from arranger.sheet.merging.not_taken import not_taken
from arranger.sheet.merging.pieces import Conflict
from arranger.sheet.merging.refit import Refitted, in_steps_of
from arranger.sheet.merging.row_merge import Places, Slot
from arranger.sheet.model import Comment
from arranger.sheet.record.align import Pair, pair_bars

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.model import Sheet, SheetBar
    from arranger.sheet.record.base import Base


@dataclass(frozen=True, slots=True, kw_only=True)
class Sides:
    """The three sheets of a merge, all in the steps of the one that is generated now."""

    base: Base
    typed: Sheet
    """The edited sheet as it was typed."""
    mine: Refitted
    """The edited sheet."""
    then: Refitted
    """The base."""
    now: Sheet
    moves: int = 0
    """By how many semitones what is generated was moved."""
    folds: bool = False
    """Whether octaves may have changed on the way."""


@dataclass(slots=True, kw_only=True)
class PlannedBar:
    """One bar of the merged sheet."""

    edited: int | None
    base: int | None
    now: int | None
    """Its index in each of the three sheets."""
    known: bool
    """Whether it is known how it was generated."""
    head: SheetBar
    comments: list[Comment] = field(default_factory=list)
    conflicts: list[Conflict] = field(default_factory=list)
    metre_by_hand: bool = False
    follows: int | None = None
    """The bar of the plan that this one is as, whatever that one is now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MergedBars:
    """The bars of a merged sheet."""

    bars: list[PlannedBar]
    slots: list[Slot]
    places: Places
    conflicts: list[Conflict]
    """About bars that don't stand."""
    last_comments: list[str]
    """Of bars that don't stand, at the end."""

    @property
    def starts(self) -> list[int]:
        """The first step of each bar, and the end of the last."""
        return [0, *accumulate(bar.head.steps for bar in self.bars)]


def sides_of(edited: Sheet, base: Base, now: Sheet, moves: int) -> Sides:
    """Return the three sheets in the same steps; see `Sides`."""
    return Sides(
        base=base,
        typed=edited,
        mine=in_steps_of(edited, now.step_beats),
        then=in_steps_of(base.sheet, now.step_beats),
        now=now,
        moves=moves,
        folds=bool(moves) or edited.engine != now.engine,
    )


def merge_bars(sides: Sides) -> MergedBars:
    """Return which bars the merged sheet has."""
    base, now = sides.base, sides.now
    pairs = pair_bars(
        base.matched, [bar.number for bar in base.sheet.bars], [bar.number for bar in now.bars]
    )
    planner = _Planner(sides)
    for pair in pairs:
        planner.add(pair)
    bars = planner.bars
    if not bars:  # nothing that a hand made is left, and nothing that was generated then
        bars = [
            PlannedBar(
                edited=None,
                base=None,
                now=k,
                known=True,
                head=head._replace(as_bar=None),
                comments=planner.new_comments(k),
            )
            for k, head in enumerate(now.bars)
        ]
    _number(bars)
    _follow(bars, sides)
    places = Places(
        edited=_places(sides.mine.sheet, [(p.edited, p.base) for p in pairs], sides),
        now=_places(now, [(p.now, p.base) for p in pairs], sides),
    )
    slots = _slots(bars, sides)
    return MergedBars(
        bars=bars,
        slots=slots,
        places=places,
        conflicts=planner.conflicts,
        last_comments=planner.carried,
    )


class _Planner:
    """Decides bar after bar; comments of bars that don't stand go to the next one that does."""

    def __init__(self, sides: Sides) -> None:
        self.sides = sides
        self.bars: list[PlannedBar] = []
        self.conflicts: list[Conflict] = []
        self.carried: list[str] = []
        self._mine = _by_bar(sides.typed)
        self._then = _by_bar(sides.base.sheet)
        self._now = _by_bar(sides.now)
        self._marks_typed, self._marks_then = sides.typed.bar_loops, sides.base.sheet.bar_loops

    def add(self, pair: Pair) -> None:
        j, i, k = pair
        comments = self._comments(pair)
        if j is None and i is not None:
            self._taken_out(i, k)
        elif j is not None and i is not None and k is None and not self._is_edited(j, i):
            self.carried += [comment.text for comment in comments]
        else:
            bar = self._standing(pair, comments)
            bar.comments = [Comment(0, text) for text in self.carried] + bar.comments
            self.carried = []
            self.bars.append(bar)

    def new_comments(self, k: int) -> list[Comment]:
        """Return the comments that are generated now on a bar."""
        return list(self._now.get(k, []))

    def _taken_out(self, i: int, k: int | None) -> None:
        if k is not None and self._renewed(i, k):
            number = self.sides.now.bars[k].number
            what = "taken out by hand, and generated otherwise now"
            self.conflicts.append(Conflict(number, what))
            block = not_taken(self.sides.now, k, (1, 2, 3), f"bar {number} ")
            self.carried += [comment.text for comment in block]

    def _standing(self, pair: Pair, comments: list[Comment]) -> PlannedBar:
        sides, (j, i, k) = self.sides, pair
        known = i is not None and sides.base.known
        if j is None:
            assert k is not None  # noqa: S101 -- it stands in one of the two
            head = sides.now.bars[k]._replace(as_bar=None)
            return PlannedBar(
                edited=None, base=None, now=k, known=True, head=head, comments=comments
            )
        head = sides.mine.sheet.bars[j]._replace(as_bar=None)
        bar = PlannedBar(edited=j, base=i, now=k, known=known, head=head, comments=comments)
        if k is None and i is not None:
            bar.conflicts.append(Conflict(head.number, "changed by hand, and no longer generated"))
        if k is not None and i is not None:
            self._marks(bar, j, i, k)
        return bar

    def _marks(self, bar: PlannedBar, j: int, i: int, k: int) -> None:
        """Decide metre and section mark, each for itself."""
        sides, head = self.sides, bar.head
        new = sides.now.bars[k]
        was = sides.then.sheet.bars[i] if bar.known else None
        if was is not None and was[1:4] == head[1:4] and self._fits(j, i, new.steps):
            bar.head = head = head.with_metre_of(new)
        elif new[1:4] != head[1:4]:
            bar.metre_by_hand = True
            if was is None or new[1:4] != was[1:4]:
                what = f"its metre by hand stays: it would be {new.numerator}/{new.denominator}"
                bar.conflicts.append(Conflict(head.number, f"{what} now"))
        before = was.section if was is not None else ""
        if head.section == before:
            bar.head = head._replace(section=new.section)
        elif new.section not in (before, head.section):
            what = f"its section mark by hand stays: it would be {new.section or 'none'} now"
            bar.conflicts.append(Conflict(head.number, what))

    def _fits(self, j: int, i: int, steps: int) -> bool:
        """Return whether no edit of a bar stands beyond so many steps."""
        mine, then = self.sides.mine.sheet, self.sides.then.sheet
        first, other, end = mine.bar_starts[j], then.bar_starts[i], mine.bars[j].steps
        return all(
            row[first + steps : first + end] == old[other + steps : other + end]
            for row, old in zip(mine.rows, then.rows, strict=True)
        )

    def _is_edited(self, j: int, i: int) -> bool:
        """Return whether a hand changed anything in a bar but its comments."""
        sides = self.sides
        base = sides.base
        same = base.standing[j] == base.contents[i]
        mark = self._marks_typed[j]
        if same and mark is not None:
            same = mark == self._marks_then[i]
        return not same or sides.typed.bars[j].section != base.sheet.bars[i].section

    def _renewed(self, i: int, k: int) -> bool:
        """Return whether a bar is generated otherwise than before, but for the key."""
        sides = self.sides
        if not sides.base.known:
            return True
        then, now = sides.then.sheet, sides.now
        if then.bars[i][1:4] != now.bars[k][1:4]:
            return True
        a, b, steps = then.bar_starts[i], now.bar_starts[k], now.bars[k].steps
        return any(
            _other(old[a + at], new[b + at], sides)
            for old, new in zip(then.rows, now.rows, strict=True)
            for at in range(steps)
        )

    def _comments(self, pair: Pair) -> list[Comment]:
        """Return the comments of a bar: the hand's, without those generated then and not now."""
        j, i, k = pair
        mine = self._mine.get(j, []) if j is not None else []
        new = self.new_comments(k) if k is not None else []
        if i is None:
            return mine + [comment for comment in new if comment not in mine]
        if not self.sides.base.known:
            return mine
        old = self._then.get(i, [])
        if j is None:
            return []
        kept = [comment for comment in mine if comment not in old or comment in new]
        return kept + [comment for comment in new if comment not in old and comment not in mine]


def _other(then: int | str | None, now: int | str | None, sides: Sides) -> bool:
    """Return whether two cells differ, but for the key."""
    if isinstance(then, int) and isinstance(now, int) and then >= 0 and now >= 0:
        apart = now - then - sides.moves
        return bool(apart % 12 if sides.folds else apart)
    return then != now


def _by_bar(sheet: Sheet) -> dict[int, list[Comment]]:
    """Return the comments of each bar; their own bar's index is 0 in all of them."""
    found: dict[int, list[Comment]] = {}
    for comment in sheet.comments:
        found.setdefault(comment.bar, []).append(comment._replace(bar=0))
    return found


def _number(bars: list[PlannedBar]) -> None:
    """Let numbers rise: the hand's stay, those of new bars are the song's, as far as that fits."""
    before: int | None = None
    following = [
        next((other.head.number for other in bars[at + 1 :] if other.edited is not None), None)
        if bar.edited is None
        else None
        for at, bar in enumerate(bars)
    ]
    for bar, after in zip(bars, following, strict=True):
        number = bar.head.number
        beyond = after is not None and number >= after
        if before is not None and (number <= before or beyond):
            number = before + 1
        bar.head = bar.head._replace(number=number)
        before = number


def _follow(bars: list[PlannedBar], sides: Sides) -> None:
    """Find the bars that a hand made as another one: they are as that one is now."""
    where = {bar.edited: at for at, bar in enumerate(bars) if bar.edited is not None}
    for at, bar in enumerate(bars):
        if bar.edited is None or not as_by_hand(bar, sides):
            continue
        source = sides.typed.bars[bar.edited].as_bar
        target = None if source is None else where.get(source)
        if target is None or target >= at:
            continue
        base = sides.base
        if bar.base is None or base.standing[bar.edited] != base.contents[bar.base]:
            bar.follows = target
            head = bar.head.with_metre_of(bars[target].head)
            bar.metre_by_hand = bar.metre_by_hand or head != bar.head
            bar.head = head


def as_by_hand(bar: PlannedBar, sides: Sides) -> bool:
    """Return whether a hand made a bar of the edited sheet as another one, or no longer so."""
    if bar.edited is None:
        return False
    mine = sides.typed.bars[bar.edited].as_bar
    if bar.base is None or not bar.known:
        return True
    then = sides.base.sheet.bars[bar.base].as_bar
    return (None if mine is None else sides.base.matched[mine]) != then or (mine is None) != (
        then is None
    )


def _places(
    sheet: Sheet, pairs: Sequence[tuple[int | None, int | None]], sides: Sides
) -> list[int]:
    """Return for each step of a sheet its place in the base."""
    starts, others, then = sheet.bar_starts, sides.then.sheet.bar_starts, sides.then.sheet
    first = sides.now.steps * (sheet is not sides.now)
    places = [~(first + step) for step in range(sheet.steps)]
    for bar, i in pairs:
        if bar is not None and i is not None:
            for at in range(min(sheet.bars[bar].steps, then.bars[i].steps)):
                places[starts[bar] + at] = others[i] + at
    return places


def _slots(bars: list[PlannedBar], sides: Sides) -> list[Slot]:
    mine, then, now = sides.mine.sheet, sides.then.sheet, sides.now
    firsts: list[int] = []
    slots: list[Slot] = []
    for index, bar in enumerate(bars):
        own = _steps_of(mine, bar.edited, bar.head.steps)
        old = _steps_of(then, bar.base if bar.known else None, bar.head.steps)
        new = _steps_of(now, bar.now, bar.head.steps)
        renewed = not bar.known and bar.base is not None and bar.now is not None
        other = None if bar.follows is None else firsts[bar.follows]
        firsts.append(len(slots))
        slots.extend(
            Slot(e, b, n, renewed, None if other is None else other + at, index)
            for at, (e, b, n) in enumerate(zip(own, old, new, strict=True))
        )
    return slots


def _steps_of(sheet: Sheet, bar: int | None, count: int) -> list[int | None]:
    """Return the first so many steps of a bar, None for those that it doesn't have."""
    if bar is None:
        return [None] * count
    start = sheet.bar_starts[bar]
    there = min(sheet.bars[bar].steps, count)
    return [*range(start, start + there), *[None] * (count - there)]
