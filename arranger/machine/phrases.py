"""Which events are stored once and played where: the phrases of a song, and their order.

Parts of bars are joined to phrases for as long as that saves bytes. A joined pair needs one entry of
the order where two were, but it is stored anew unless its halves occur nowhere else.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.sound.schedule import Event

ORDER_ENTRY_BYTES = 4
_PARTS = (4, 3, 5, 7, 2)
"""A bar is cut into so many parts, the first number that divides its steps, where events begin there.

Beats, mostly. On songs for a whole band whole bars take 12 % more bytes, and single events 8 %.
"""
_LOOP = -1
"""In a sequence: here the loop begins, so the phrase before ends."""

Phrase = tuple["Event", ...]
Pair = tuple[int, int]


class Phrases(NamedTuple):
    """A song as phrases."""

    order: tuple[int, ...]
    """Indices into ``phrases``, in the order in which they are played."""
    loop: int | None
    """The place in the order to go on with after its end; None: the piece ends."""
    phrases: tuple[Phrase, ...]


def find_phrases(bars: Sequence[Phrase], loop_bar: int | None) -> Phrases:
    """Return the phrases of a song; ``loop_bar`` is the bar to go on with after the last."""
    store = _Store()
    sequence: list[int] = []
    for place, bar in enumerate(bars):
        if place == loop_bar:
            sequence.append(_LOOP)
        sequence += [store.number(part) for part in _parts(bar)]
    while pairs := _worth_joining(sequence, store):
        sequence = list(_joined(sequence, pairs))
    played = [number for number in sequence if number != _LOOP]
    found = {number: index for index, number in enumerate(dict.fromkeys(played))}
    return Phrases(
        tuple(found[number] for number in played),
        None if loop_bar is None else sequence.index(_LOOP),
        tuple(store.phrases[number] for number in found),
    )


class _Store:
    """Phrases by number, those in use and those that have been joined since."""

    def __init__(self) -> None:
        self.phrases: list[Phrase] = []
        self.sizes: list[int] = []
        self._numbers: dict[Phrase, int] = {}

    def number(self, phrase: Phrase) -> int:
        """Return a phrase's number; a phrase that isn't there is added."""
        found = self._numbers.setdefault(phrase, len(self.phrases))
        if found == len(self.phrases):
            self.phrases.append(phrase)
            changes = pairwise(((None, None), *(event[1:3] for event in phrase)))
            words = sum(1 + (a != c) + (b != d) for (a, b), (c, d) in changes)
            self.sizes.append(2 * words)
        return found

    def joined_size(self, first: int, second: int) -> int:
        """Return the bytes of two phrases as one: tones that go on aren't told again."""
        before, after = self.phrases[first][-1], self.phrases[second][0]
        held = (before.setting1 == after.setting1) + (before.setting2 == after.setting2)
        return self.sizes[first] + self.sizes[second] - 2 * held


def _parts(bar: Phrase) -> Iterator[Phrase]:
    steps = sum(event.steps for event in bar)
    length = steps // next((number for number in _PARTS if steps % number == 0), 1)
    begun = at = 0
    for index, event in enumerate(bar):
        if at and at % length == 0:
            yield bar[begun:index]
            begun = index
        at += event.steps
    yield bar[begun:]


def _worth_joining(sequence: list[int], store: _Store) -> dict[Pair, int]:
    """Return pairs without a phrase in common, those first that save most, and what they become."""
    uses = Counter(sequence)
    gains = []
    for (first, second), number in _pairs(sequence).items():
        gain = ORDER_ENTRY_BYTES * number - store.joined_size(first, second)
        for half in {first, second}:
            if uses[half] == number * (1 + (first == second)):
                gain += store.sizes[half]
        if gain > 0:
            gains.append((-gain, first, second))
    taken: set[int] = set()
    found = {}
    for _, first, second in sorted(gains):
        if taken.isdisjoint((first, second)):
            taken |= {first, second}
            found[first, second] = store.number(store.phrases[first] + store.phrases[second])
    return found


def _pairs(sequence: list[int]) -> Counter[Pair]:
    """Count the pairs of neighbours; of three equal ones in a row only two are a pair."""
    found: Counter[Pair] = Counter()
    last = None
    for pair in pairwise(sequence):
        overlaps = pair == last and pair[0] == pair[1]
        last = None if overlaps else pair
        if not overlaps and _LOOP not in pair:
            found[pair] += 1
    return found


def _joined(sequence: list[int], pairs: dict[Pair, int]) -> Iterator[int]:
    waiting: int | None = None
    for number in sequence:
        if waiting is None:
            waiting = number
        elif (waiting, number) in pairs:
            yield pairs[waiting, number]
            waiting = None
        else:
            yield waiting
            waiting = number
    if waiting is not None:
        yield waiting
