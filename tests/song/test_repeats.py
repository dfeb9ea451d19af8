"""The order of bars, against orders written down by hand, and laws for any repeats."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.song.score.repeats import Signs, play_order


def bars(text: str) -> list[Signs]:
    """Return bars from words: ``|:`` before, ``:|`` or ``:|3`` after, ``1`` or ``1,2`` an ending."""
    found: list[Signs] = []
    start, endings = False, frozenset[int]()
    for word in text.split():
        if word == "|:":
            start, endings = True, frozenset()
        elif word.startswith(":|"):
            found[-1].times = int(word[2:] or 2)
        elif word[0].isdigit():
            endings = frozenset(int(n) for n in word.split(","))
        elif word == "|":
            endings = frozenset()
        elif word.isupper():
            found.append(Signs(starts=start, endings=endings))
            start = False
        else:
            setattr(found[-1], word, True)
    return found


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("A B C", "ABC"),
        ("|: A B :|", "ABAB"),
        ("A B :|", "ABAB"),
        ("A |: B :| C", "ABBC"),
        ("|: A :| |: B :|", "AABB"),
        ("|: A :| B :|", "AABB"),
        ("|: A |: B :|", "ABB"),
        ("|: A B", "AB"),
        ("A :|3 B", "AAAB"),
        ("|: A 1 B :| 2 C", "ABAC"),
        ("|: A 1 B C :| 2 D E | F", "ABCADEF"),
        ("|: A 1 B 2 C", "ABAC"),
        ("|: A 1,2 B :| 3 C", "ABABAC"),
        ("|: A 1 B :| 2 C :| 3 D", "ABACAD"),
        ("|: A 1 B :| 2 C | D :|", "ABACDD"),
        ("|: A 1 B :| 2 C |: D 1 E :| 2 F", "ABACDEDF"),
    ],
)
def test_repeats_and_endings(text: str, order: str) -> None:
    played = play_order(bars(text))
    assert played is not None
    assert "".join("ABCDEF"[i] for i in played) == order


def test_an_ending_that_no_pass_reaches_makes_no_sense() -> None:
    assert play_order(bars("|: A 2 B | C")) is None


@pytest.mark.parametrize(
    ("text", "place", "jump", "until", "order"),
    [
        ("A B C", 2, "capo", "", "ABCABC"),
        ("A fine B", 1, "capo", "fine", "ABA"),
        ("A segno B fine C", 2, "segno", "fine", "ABCAB"),
        ("A B segno C", 2, "segno", "", "ABCBC"),
        ("A coda B C coda D", 1, "capo", "coda", "ABACD"),
        ("|: A :| B fine C", 2, "capo", "fine", "AABCAB"),
        ("|: A 1 B :| 2 C fine D", 3, "capo", "fine", "ABACDAC"),
    ],
)
def test_jumps(text: str, place: int, jump: str, until: str, order: str) -> None:
    signs = bars(text)
    signs[place].jump, signs[place].until = jump, until
    played = play_order(signs)
    assert played is not None
    assert "".join("ABCDEF"[i] for i in played) == order


def test_jumps_to_what_is_not_there_make_no_sense() -> None:
    for jump, until in (("segno", ""), ("capo", "fine"), ("capo", "coda")):
        assert play_order([Signs(), Signs(jump=jump, until=until)]) is None


@given(st.lists(st.builds(Signs, starts=st.booleans(), times=st.sampled_from([0, 0, 2, 3]))))
def test_repeats_alone_always_make_sense(signs: list[Signs]) -> None:
    order = play_order(signs)
    assert order is not None
    # Every bar is played, no more often than the repeat that it is in; one goes on, or back.
    most = max((bar.times for bar in signs), default=0) or 1
    assert all(1 <= order.count(i) <= most for i in range(len(signs)))
    assert all(b == a + 1 or (b <= a and signs[a].times) for a, b in itertools.pairwise(order))
    assert list(dict.fromkeys(order)) == list(range(len(signs)))


@given(
    st.lists(
        st.builds(
            Signs,
            starts=st.booleans(),
            times=st.sampled_from([0, 2, 16]),
            endings=st.frozensets(st.integers(1, 16), max_size=3),
            segno=st.booleans(),
            coda=st.booleans(),
            fine=st.booleans(),
            jump=st.sampled_from(["", "capo", "segno"]),
            until=st.sampled_from(["", "fine", "coda"]),
        ),
        max_size=12,
    )
)
def test_any_signs_come_to_an_end(signs: list[Signs]) -> None:
    order = play_order(signs)
    assert order is None or len(order) <= 17 * len(signs)
    assert order is None or all(0 <= i < len(signs) for i in order)
