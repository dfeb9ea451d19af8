"""Which bar of an edited sheet is which bar of the sheet that was generated."""

from __future__ import annotations

from difflib import SequenceMatcher
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

_MOST_COMPARED = 1_000_000
"""Pairs of bars that are compared at most; beyond that bars are matched by their place."""


_MOST_ALIKE = 10_000
"""Pairs of bars whose likeness is looked at in one passage."""


_IN_PLACE = 0.25
"""What speaks for bars that stand where as many others stood, on top of their likeness."""


class BarDigest(NamedTuple):
    """The digest of one bar as it was generated."""

    number: int
    digest: str


class Pair(NamedTuple):
    """One bar as it stands in up to three sheets: its index in each, None where it isn't."""

    edited: int | None
    base: int | None
    now: int | None


def pair_bars(matched: Sequence[int | None], base: Sequence[int], now: Sequence[int]) -> list[Pair]:
    """Return every bar of three sheets once, in the order of the merged sheet.

    That is the edited sheet's order; a bar that was taken out by hand or is new in the sheet as
    generated now stands before the bar that follows it there.

    ``matched``: for each bar of the edited sheet its index in the base, rising, or None:
    `match_bars`.
    ``base``, ``now``: the bar numbers of the sheet as generated then and now. Equal numbers are the
    same bar.
    """
    places: dict[int, list[int]] = {}
    for k in range(len(now) - 1, -1, -1):
        places.setdefault(now[k], []).append(k)
    base_to_now = [places[n].pop() if places.get(n) else None for n in base]
    new = sorted(k for left in places.values() for k in left)[::-1]
    found: list[Pair] = []

    def add(edited: int | None, i: int | None) -> None:
        k = None if i is None else base_to_now[i]
        while new and k is not None and new[-1] < k:
            found.append(Pair(None, None, new.pop()))
        found.append(Pair(edited, i, k))

    following = 0
    for j, i in enumerate(matched):
        if i is not None:
            for out in range(following, i):
                add(None, out)
            following = i + 1
        add(j, i)
    for out in range(following, len(base)):
        add(None, out)
    found.extend(Pair(None, None, k) for k in reversed(new))
    return found


def match_bars(
    generated: Sequence[BarDigest],
    digests: Sequence[str],
    numbers: Sequence[int],
    alike: Callable[[int, int], float] | None = None,
) -> list[int | None]:
    """Return for each bar of the edited sheet its index among the generated ones, or None.

    The indices rise. Bars that were inserted have none. Bars that stand as they were at both
    ends are taken for themselves; between them the likeliest reading is taken. Where nothing is known
    but digests, or there are very many bars, those are found first that stand as they were, at their
    own place if that explains as much as any shift does; an edited bar between them is told by its
    place, or by its number where bars came or went.

    ``generated``: what was generated.
    ``digests``, ``numbers``: of the edited sheet's bars as they stand.
    ``alike``: returns how likely a generated bar and one of the edited sheet are the same; below 0:
    they aren't.
    """
    old = [bar.digest for bar in generated]
    result: list[int | None] = [None] * len(digests)
    in_place = sum(a == b for a, b in zip(old, digests, strict=False))
    if alike is None:
        start, end_old, end_new = _common_ends(old, digests)
    else:
        start, end_old, end_new = _common_ends(
            [f"{bar.number} {bar.digest}" for bar in generated],
            [f"{number} {digest}" for number, digest in zip(numbers, digests, strict=True)],
        )
    if len(old) == len(digests) and in_place >= _matching(old, digests, start, end_old, end_new):
        pairs = zip(old, digests, strict=True)
        if alike is None or all(a == b or alike(at, at) > 0 for at, (a, b) in enumerate(pairs)):
            return list(range(len(digests)))
    for i, j in [(k, k) for k in range(start)] + [
        (end_old + k, end_new + k) for k in range(len(old) - end_old)
    ]:
        result[j] = i
    count = (end_old - start) * (end_new - start)
    if alike is not None and count <= _MOST_ALIKE:
        _match_by_likeness(alike, range(start, end_old), range(start, end_new), result)
        return result
    middle = _operations(old[start:end_old], digests[start:end_new])
    for tag, i1, i2, j1, j2 in middle:
        old_bars, new_bars = range(start + i1, start + i2), range(start + j1, start + j2)
        if len(old_bars) == len(new_bars):
            for i, j in zip(old_bars, new_bars, strict=True):
                result[j] = i
        elif tag == "replace":
            _match_by_number(generated, numbers, old_bars, new_bars, result)
    return result


def _common_ends(old: Sequence[str], new: Sequence[str]) -> tuple[int, int, int]:
    """Return where the equal beginning ends, and where the equal end begins in both."""
    start = 0
    while start < min(len(old), len(new)) and old[start] == new[start]:
        start += 1
    end_old, end_new = len(old), len(new)
    while min(end_old, end_new) > start and old[end_old - 1] == new[end_new - 1]:
        end_old -= 1
        end_new -= 1
    return start, end_old, end_new


def _operations(old: Sequence[str], new: Sequence[str]) -> list[tuple[str, int, int, int, int]]:
    if len(old) * len(new) > _MOST_COMPARED:
        return [("replace", 0, len(old), 0, len(new))]
    return list(SequenceMatcher(None, old, new, autojunk=False).get_opcodes())


def _matching(
    old: Sequence[str], new: Sequence[str], start: int, end_old: int, end_new: int
) -> int:
    """Return how many bars stand unchanged when shifts are allowed for."""
    equal = sum(
        i2 - i1
        for tag, i1, i2, _, _ in _operations(old[start:end_old], new[start:end_new])
        if tag == "equal"
    )
    return start + (len(old) - end_old) + equal


def _match_by_number(
    generated: Sequence[BarDigest],
    numbers: Sequence[int],
    old_bars: range,
    new_bars: range,
    result: list[int | None],
) -> None:
    """Match bars of the same number in a passage where bars came or went."""
    places: dict[int, int] = {}
    for i in old_bars:
        places.setdefault(generated[i].number, i)
    last = old_bars.start - 1
    for j in new_bars:
        found = places.get(numbers[j])
        if found is not None and found > last:
            result[j] = last = found


def _match_by_likeness(
    alike: Callable[[int, int], float], old_bars: range, new_bars: range, result: list[int | None]
) -> None:
    """Match the bars of a passage, rising, so that the sum of their likeness is greatest."""
    in_place = _IN_PLACE if len(old_bars) == len(new_bars) else 0.0
    best = [[0.0] * (len(new_bars) + 1) for _ in range(len(old_bars) + 1)]
    likeness = {
        (i, j): alike(i, j) + in_place * (i - old_bars.start == j - new_bars.start)
        for i in old_bars
        for j in new_bars
    }
    for a in range(len(old_bars) - 1, -1, -1):
        for b in range(len(new_bars) - 1, -1, -1):
            matched = likeness[old_bars[a], new_bars[b]]
            best[a][b] = max(best[a + 1][b + 1] + matched, best[a + 1][b], best[a][b + 1])
    a = b = 0
    while a < len(old_bars) and b < len(new_bars):
        matched = likeness[old_bars[a], new_bars[b]]
        if matched > 0 and best[a][b] == best[a + 1][b + 1] + matched:
            result[new_bars[b]] = old_bars[a]
            a, b = a + 1, b + 1
        elif best[a][b] == best[a + 1][b]:
            a += 1
        else:
            b += 1
