"""What holds of sheets while they are edited; `editing_sessions` looks whether it does."""

from __future__ import annotations

import functools
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from arranger.pitch import pitch_name
from arranger.rows import HOLD
from arranger.sheet import Sheet, parse
from tests.benchmarks.editing_by_hand import Hit, Item, Tones, bars_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable


class BrokenLawError(Exception):
    """A law doesn't hold."""


@dataclass(frozen=True)
class State:
    """What stands in the file, and what is known of it."""

    content: bytes
    items: tuple[Item, ...]
    shift: int
    """By how many semitones the song was moved."""
    rows: frozenset[tuple[int, int]] | None = frozenset()
    """Which rows of which bars have cells by hand; None: bars were moved, so it isn't known."""

    @functools.cached_property
    def sheet(self) -> Sheet:
        return parse(self.content.decode("utf-8"))


class Change(NamedTuple):
    """What a command may do to what a hand has made."""

    variants: Callable[[Item], Iterable[Item]] = lambda item: (item,)
    """Returns what an item may be afterwards."""
    may_lose: Callable[[Item], bool] = lambda _: False
    listed: bool = False
    """Whether it may be listed instead."""
    same_music: bool = False
    generated: Sheet | None = None
    """What a conversion without edits would write."""


def followers(sheet: Sheet, chosen: set[int]) -> set[int]:
    """Return the bars that are as one of the chosen ones."""
    found = set(chosen)
    for index, bar in enumerate(sheet.bars):
        if bar.as_bar in found:
            found.add(index)
    return found


def by_chance(item: Item, after: Sheet, now: Sheet) -> bool:
    """Return whether something made by hand is also generated now, so that it isn't the hand's."""
    if not isinstance(item, Tones | Hit):
        return False
    row = item.voice if isinstance(item, Tones) else 2
    mine, new = cells(after, row), cells(now, row)
    bars = {bar.number: at for at, bar in enumerate(now.bars)}
    made = set(item.pitches) if isinstance(item, Tones) else {item.sound}
    return any(
        cell in made and place < len(other) and other[place] == cell
        for bar in set(bars_of(after, item.found(after)))
        for other in [new[bars[after.bars[bar].number]] if after.bars[bar].number in bars else ()]
        for place, cell in enumerate(mine[bar])
    )


def untouched_as_generated(before: State, after: Sheet, now: Sheet) -> int:
    """Look whether rows without cells by hand are as they are generated now; return how many are."""
    if before.rows is None or after.step_beats != now.step_beats:
        return 0
    count = 0
    if [bar[1:4] for bar in after.bars] != [bar[1:4] for bar in now.bars]:
        raise BrokenLawError("other bars than are generated")
    for row in range(3):
        then, merged, new = (cells(sheet, row) for sheet in (before.sheet, after, now))
        by_hand = False
        for bar, bars in enumerate(zip(then, merged, new, strict=True)):
            held = by_hand and any(cells[0] == HOLD for cells in bars)  # the tone that a hand made
            by_hand = held or (bar, row) in before.rows
            if not by_hand and bars[1] != bars[2]:
                raise BrokenLawError(f"not as generated: row {row} of bar {after.bars[bar].number}")
            count += not by_hand
    return count


def cells(sheet: Sheet, row: int) -> list[tuple[object, ...]]:
    """Return the cells of a row, by bar."""
    found = (sheet.voice1, sheet.voice2, sheet.drums)[row]
    return [found[start:end] for start, end in pairwise(sheet.bar_starts)]


def rise(sheet: Sheet) -> bool:
    numbers = [bar.number for bar in sheet.bars]
    return numbers == sorted(set(numbers))


def music(sheet: Sheet) -> tuple[object, ...]:
    bars = [(bar.steps, bar.numerator, bar.denominator, bar.section) for bar in sheet.bars]
    texts = sorted(comment.text for comment in sheet.comments)
    return bars, sheet.voice1, sheet.voice2, sheet.drums, sheet.loop_step, texts


def listed(item: Item, change: Change, before: Sheet, after: Sheet) -> bool:
    """Return whether what was made by hand is told in a comment."""
    known = Counter(comment.text for comment in before.comments)
    new = Counter(comment.text for comment in after.comments) - known
    forms = [item, *change.variants(item)]
    if isinstance(item, Hit):
        return any(item.sound in text for text in new)
    names = [
        [pitch_name(pitch) for pitch in form.pitches] for form in forms if isinstance(form, Tones)
    ]
    return any(name in text.split() for text in new for form in names for name in form)
