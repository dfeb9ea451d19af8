"""Which bar is which: laws of pairs, and edits that are known."""

from __future__ import annotations

from itertools import combinations
from random import Random

import pytest

from arranger.sheet.midi import _midi_metre
from arranger.sheet.record import align
from arranger.sheet.record.align import BarDigest, match_bars, pair_bars


def test_every_bar_of_three_sheets_stands_once_and_before_what_follows_it() -> None:
    random = Random(2)
    for _ in range(300):
        base = [random.randrange(7) for _ in range(random.randrange(6))]
        now = [random.randrange(7) for _ in range(random.randrange(6))]
        kept = [i for i in range(len(base)) if random.random() < 0.7]
        matched: list[int | None] = list(kept)
        for _ in range(random.randrange(3)):
            matched.insert(random.randint(0, len(matched)), None)
        pairs = pair_bars(matched, base, now)
        assert [p.edited for p in pairs if p.edited is not None] == list(range(len(matched)))
        assert [p.base for p in pairs if p.base is not None] == list(range(len(base)))
        assert sorted(p.now for p in pairs if p.now is not None) == list(range(len(now)))
        for place, (j, i, k) in enumerate(pairs):
            if j is not None:
                assert matched[j] == i
            if i is not None:  # the n-th bar of a number is the n-th of that number
                same = [at for at, number in enumerate(now) if number == base[i]]
                nth = base[:i].count(base[i])
                assert k == (same[nth] if nth < len(same) else None)
            if j is i is None:
                assert k is not None
                old = [(at, p.now) for at, p in enumerate(pairs) if p.base is not None]
                later = [at for at, of in old if of is not None and of > k]
                assert place < min(later, default=len(pairs))
                assert all(of is None or of < k for at, of in old if at < place)
                # nothing but other new ones between it and the bar that it stands before
                between = pairs[place : min(later, default=len(pairs))]
                assert all(p.base is None and p.edited is None for p in between)


def test_bars_put_in_taken_out_and_changed_are_told_apart() -> None:
    random = Random(3)
    for _ in range(200):
        count = random.randrange(1, 9)
        base = [BarDigest(n + 1, f"as generated {n}") for n in range(count)]
        edited: list[tuple[str, int, int | None]] = []
        for n, bar in enumerate(base):
            # an unchanged bar between two edits tells what they are
            what = random.choice(("put in", "taken out", "changed", "")) if n % 2 else ""
            if what == "put in":
                edited.append((f"new {n}", 99, None))
            if what == "changed":
                edited.append((f"otherwise {n}", bar.number, n))
            elif what != "taken out":
                edited.append((bar.digest, bar.number, n))
        digests, numbers, wanted = (list(column) for column in zip(*edited, strict=True))
        assert match_bars(base, digests, numbers) == wanted


def test_where_bars_came_or_went_edited_ones_are_told_by_their_numbers() -> None:
    base = [BarDigest(n, f"as generated {n}") for n in (1, 2, 3, 4, 5)]
    digests = ["as generated 1", "x", "y", "as generated 5"]
    assert match_bars(base, digests, [1, 4, 7, 5]) == [0, 3, None, 4]
    assert match_bars(base, digests, [1, 3, 2, 5]) == [0, 2, None, 4], "they rise"
    assert match_bars(base, digests, [1, 2, 4, 5]) == [0, 1, 3, 4]
    assert match_bars(base, digests, [1, 1, 5, 5]) == [0, None, None, 4], "not those around"
    often = [BarDigest(n, digest) for n, digest in enumerate("ab" * 120)]
    moved = ["x", *"ab" * 119, "a"]
    assert match_bars(often, moved, range(240)) == [None, *range(239)], "bars that come often too"


def test_no_other_reading_of_edited_bars_is_likelier() -> None:
    """All rising matchings are tried; where as many bars stand as before, places speak for them."""
    random = Random(5)
    for _ in range(200):
        before, old, new, after = (random.randrange(most) for most in (3, 5, 5, 3))
        count_old, count_new = before + old + after, before + new + after
        likely = [[random.uniform(-0.5, 2) for _ in range(count_new)] for _ in range(count_old)]
        base = [BarDigest(n, f"as generated {n}") for n in range(count_old)]
        digests = [bar.digest for bar in base[:before]]
        digests += [f"new {n}" for n in range(new)]
        digests += [bar.digest for bar in base[before + old :]]
        numbers = [*range(before), *[99] * new, *range(before + old, count_old)]
        found = match_bars(base, digests, numbers, lambda i, j, likely=likely: likely[i][j])
        own = [*range(before), *[None] * new, *range(before + old, count_old)]
        pairs = [(i, j) for j, i in enumerate(found) if i is not None]
        assert [i for i, _ in pairs] == sorted({i for i, _ in pairs})
        if old == new and found == [*range(count_old)]:
            continue  # told by their places alone
        assert found[:before] + found[before + new :] == own[:before] + own[before + new :]

        worth = {(i, j): likely[i][j] + 0.25 * (old == new and i == j)
                 for i in range(count_old) for j in range(count_new)}  # fmt: skip
        middle = range(before, before + old), range(before, before + new)
        best = max(
            sum(worth[pair] for pair in zip(some, others, strict=True))
            for count in range(min(old, new) + 1)
            for some in combinations(middle[0], count)
            for others in combinations(middle[1], count)
        )
        assert sum(worth[pair] for pair in pairs if pair[1] in middle[1]) == pytest.approx(best)


@pytest.mark.parametrize("most", [1, 10**6])
def test_so_many_bars_that_looking_would_take_long_go_by_place(
    most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(align, "_MOST_COMPARED", most)
    base = [BarDigest(n, digest) for n, digest in enumerate("abcd")]
    assert match_bars(base, list("bcda"), [0, 1, 2, 3]) == (
        [0, 1, 2, 3] if most == 1 else [1, 2, 3, None]
    )


@pytest.mark.parametrize(
    ("numerator", "denominator", "fits"),
    [(255, 4, True), (256, 4, False), (1, 1, True), (4, 128, True), (4, 256, False), (4, 3, False)],
)
def test_metres_that_midi_can_say(numerator: int, denominator: int, fits: bool) -> None:
    """One byte, and a power of two (MIDI files 1.0, time signature)."""
    assert _midi_metre(numerator, denominator) == fits
