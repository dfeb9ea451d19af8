"""A sheet taken apart into bars that can stand elsewhere, and put together again.

A block is a bar with what belongs to it, and with the pitches that it holds when it begins: so what
it plays is known without the bar before. Putting together keeps these laws:

1. Every block plays what it played. Where it begins by holding a tone that the block before it now
   doesn't leave sounding, it starts that tone itself, on its first step; where it held silence, it is
   silent. So a tone that is held into bars which are moved or copied starts anew there, and one that
   is held out of them doesn't hum on.
2. A block that is as another has its cells. Where the first of those that are alike is gone, the next
   is written out and the others name it; one that comes to stand before the bar that it named is
   written out, and that one names it.
3. The loop mark, the comments and the section marks go with their bars.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import LimitError
from arranger.rows import HOLD, REST, tones
from arranger.sheet.form.text import BELOW
from arranger.sheet.merging.pieces import cut_into_bars
from arranger.sheet.model import MAX_STEPS, joined_rows

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

    from arranger.sheet.merging.pieces import Held
    from arranger.sheet.model import Comment, Rows, Sheet, SheetBar

Links = dict[int, int | None]
"""Keys of blocks, and of the blocks that these are as."""


@dataclass(frozen=True, slots=True)
class MovableBar:
    """A bar with all that goes where it goes."""

    key: int
    """Its name: its index in the sheet that was taken apart; a new one has another number."""
    head: SheetBar
    rows: Rows
    """Voice 1, voice 2, drums."""
    held: Held = (None, None)
    """The pitches that the voices hold when it begins."""
    loop: int | None = None
    """The step of the bar, from 0, to go back to; None: not to this bar."""
    comments: tuple[Comment, ...] = ()
    as_of: int | None = None
    """The key of the block that it is as."""

    def same_cells(self, other: MovableBar) -> bool:
        """Return whether two blocks have the same metre and cells, so that one can be as the other."""
        return self.head[1:4] == other.head[1:4] and self.rows == other.rows

    def leaves(self, voice: int) -> int | None:
        """Return the pitch that a voice (0 or 1) still holds when the block ends."""
        held = self.held[voice]
        return tones((REST if held is None else held, *self.rows[voice]))[-1]

    def with_cells_of(self, other: MovableBar) -> MovableBar:
        """Return the block playing what another one plays."""
        return replace(
            self, head=self.head.with_metre_of(other.head), rows=other.rows, held=other.held
        )

    def with_rows_of(self, other: MovableBar, rows: Sequence[int]) -> MovableBar:
        """Return the block with some rows of another one of as many steps."""
        mine, theirs = self.rows, other.rows
        first = theirs[0] if 0 in rows else mine[0]
        second = theirs[1] if 1 in rows else mine[1]
        drums = theirs[2] if 2 in rows else mine[2]
        held = [(other if voice in rows else self).held[voice] for voice in (0, 1)]
        return replace(self, rows=(first, second, drums), held=(held[0], held[1]))


class Reassembled(NamedTuple):
    """A sheet that was put together, and what that changed in its bars (indices)."""

    sheet: Sheet
    started: tuple[int, ...]
    """Bars that now start a tone, or a silence, that they held."""
    written_out: tuple[int, ...]
    """Bars that were as another one, and are no longer."""


def take_apart(sheet: Sheet) -> list[MovableBar]:
    """Return the bars of a sheet as blocks; their keys are their indices."""
    comments: dict[int, list[Comment]] = {}
    for comment in sheet.comments:
        comments.setdefault(comment.bar, []).append(comment)
    return [
        MovableBar(
            key=key,
            head=bar.head,
            rows=bar.rows,
            held=bar.held,
            loop=bar.loop,
            comments=tuple(comments.get(key, ())),
            as_of=bar.head.as_bar,
        )
        for key, bar in enumerate(cut_into_bars(sheet))
    ]


def put_together(
    sheet: Sheet, blocks: Sequence[MovableBar], *, renumber: bool = False
) -> Reassembled:
    """Return the sheet with these bars.

    ``sheet``: the sheet that was taken apart; its header stays.
    ``blocks``: the bars in order, at least one.
    ``renumber``: whether bars count on, from the number of the first bar of ``sheet``. A pickup
    counts 0 only as long as it comes first.

    Raises `LimitError` if that has more than `MAX_STEPS` steps.
    """
    if sum(block.head.steps for block in blocks) > MAX_STEPS:
        raise LimitError(f"the sheet would have more than {MAX_STEPS:,} steps", remedy="split it")
    links: Links = {key: bar.as_bar for key, bar in enumerate(sheet.bars)}
    links |= {block.key: block.as_of for block in blocks}
    linked = _linked(blocks, links)
    mended = _holds_mended(linked)
    whole = _linked(mended.blocks, links, mended.alone) if mended.alone else mended.blocks
    places = {block.key: place for place, block in enumerate(whole)}
    heads = [
        block.head._replace(as_bar=None if block.as_of is None else places[block.as_of])
        for block in whole
    ]
    if renumber:
        first = sheet.bars[0].number if sheet.bars else 1
        if first == 0 and whole[0].key != 0:
            first = 1
        heads = [head._replace(number=first + place) for place, head in enumerate(heads)]
    comments = [comment for comment in sheet.comments if comment.bar < 0]
    for place, block in enumerate(whole):
        comments += _comments(block, place)
    end = len(sheet.bars)
    comments += [c._replace(bar=len(whole)) for c in sheet.comments if c.bar >= end]
    return Reassembled(
        sheet=replace(
            sheet.with_rows(joined_rows(block.rows for block in whole)),
            bars=tuple(heads),
            loop_step=_loop_step(whole),
            comments=tuple(comments),
        ),
        started=tuple(sorted(places[key] for key in mended.started)),
        written_out=tuple(
            place for place, block in enumerate(whole) if _is_apart(block, whole, places)
        ),
    )


def _comments(block: MovableBar, place: int) -> list[Comment]:
    """Return the comments of a bar; those on rows that aren't written stand below it."""
    if block.as_of is None:
        return [comment._replace(bar=place) for comment in block.comments]
    above = [comment for comment in block.comments if comment.row == 0]
    below = [comment for comment in block.comments if comment.row > 0]
    return [
        *(comment._replace(bar=place) for comment in above),
        *(comment._replace(bar=place, row=BELOW, beside=False) for comment in below),
    ]


def _is_apart(block: MovableBar, blocks: Sequence[MovableBar], places: Mapping[int, int]) -> bool:
    """Return whether a block that was as another one is so no longer, in either direction."""
    was = block.head.as_bar
    if block.as_of is not None or was is None:
        return False
    links: Links = {other.key: other.as_of for other in blocks} if was in places else {}
    return chain_of(links, was)[-1] != block.key


def changed(
    blocks: Sequence[MovableBar],
    chosen: Collection[int],
    change: Callable[[MovableBar], MovableBar],
) -> tuple[list[MovableBar], list[int]]:
    """Return the blocks with a change made to some of them, and which others follow.

    One that is as a changed one has the change too. A chosen one that is as another stays so only
    where both have the same cells afterwards.

    ``blocks``: as `take_apart` returns them.
    ``chosen``: the keys of those to change.
    ``change``: returns a block with other cells.
    """
    found: list[MovableBar] = []
    moved: set[int] = set()
    followers: list[int] = []
    for block in blocks:
        source = None if block.as_of is None else found[block.as_of]
        now = block
        if block.key in chosen:
            now = change(block)
            if source is not None and not now.same_cells(source):
                now = replace(now, as_of=None)
        elif source is not None and source.key in moved:
            held = [_held_by_follower(voice, block, source, blocks, found) for voice in (0, 1)]
            now = replace(block.with_cells_of(source), held=(held[0], held[1]))
            followers.append(block.key)
        if not now.same_cells(block) or now.held != block.held:
            moved.add(block.key)
        found.append(now)
    return found, followers


def _held_by_follower(
    voice: int,
    block: MovableBar,
    source: MovableBar,
    blocks: Sequence[MovableBar],
    found: Sequence[MovableBar],
) -> int | None:
    """Return what a block holds that follows a changed one: what is changed before either counts."""
    if block.key:
        left = found[block.key - 1].leaves(voice)
        if left != blocks[block.key - 1].leaves(voice):
            return left
    held = source.held[voice]
    return block.held[voice] if held == blocks[source.key].held[voice] else held


def chain_of(links: Links, key: int) -> list[int]:
    """Return a block, the one that it is as, the one that this is as, and so on, by their keys."""
    chain = [key]
    while (after := links.get(chain[-1])) is not None and after not in chain:
        chain.append(after)
    return chain


def _linked(
    blocks: Sequence[MovableBar], links: Links, alone: Collection[int] = ()
) -> list[MovableBar]:
    """Return the blocks, each that is as others naming one that stands before it.

    ``blocks``: those that are there.
    ``links``: what each is as, and each that was there before.
    ``alone``: those that are as no other any longer.
    """
    first: dict[int, int] = {}
    before: dict[int, MovableBar] = {}
    for block in blocks:
        if block.key in alone:
            found = replace(block, as_of=None)
        else:
            chain = chain_of(links, block.key)
            named = (key for key in chain[1:] if key in before and key not in alone)
            target = next(named, first.get(chain[-1]))
            first.setdefault(chain[-1], block.key)
            if target is not None and not block.same_cells(before[target]):
                target = None
            found = replace(block, as_of=target)
        before[block.key] = found
    return list(before.values())


class _Mended(NamedTuple):
    """Blocks that hold what they should, by their keys."""

    blocks: list[MovableBar]
    started: set[int]
    """Those that start a tone which they held."""
    alone: set[int]
    """Those that can't be as another one any longer."""


def _holds_mended(blocks: list[MovableBar]) -> _Mended:
    """Let blocks start the tones that they hold, where the one before doesn't leave them.

    Those that are alike start them all, if all hold the same; else those that must, each for itself.
    """
    links: Links = {block.key: block.as_of for block in blocks}
    groups: dict[int, list[int]] = {}
    for block in blocks:
        groups.setdefault(chain_of(links, block.key)[-1], []).append(block.key)
    found = {block.key: block for block in blocks}
    started: set[int] = set()
    alone: set[int] = set()
    for key, voice in _strange_holds(blocks):
        alike = groups[chain_of(links, key)[-1]]
        if any(found[other].held[voice] != found[key].held[voice] for other in alike):
            alone.add(key)
            alike = [key]
        for other in alike:
            found[other] = _starting(found[other], voice)
        started.add(key)
    return _Mended(list(found.values()), started, alone)


def _strange_holds(blocks: Sequence[MovableBar]) -> Iterator[tuple[int, int]]:
    """Yield block and voice (0 or 1) where a block begins by holding what isn't left to it."""
    before: MovableBar | None = None
    for block in blocks:
        for voice in (0, 1):
            left = None if before is None else before.leaves(voice)
            if block.rows[voice][0] == HOLD and block.held[voice] != left:
                yield block.key, voice
        before = block


def _starting(block: MovableBar, voice: int) -> MovableBar:
    """Return the block, starting the tone that it holds."""
    rows = list(block.rows[:2])
    held = block.held[voice]
    if rows[voice][0] == HOLD:
        rows[voice] = (REST if held is None else held, *rows[voice][1:])
    return replace(block, rows=(rows[0], rows[1], block.rows[2]))


def _loop_step(blocks: Sequence[MovableBar]) -> int | None:
    start = 0
    for block in blocks:
        if block.loop is not None:
            return start + (block.loop if block.loop < block.head.steps else 0)
        start += block.head.steps
    return None
