"""Which symbols of a song are stored once and played where: phrases, which hold phrases in turn.

Pairs of neighbours are joined for as long as one occurs twice (a grammar, after Larsson and Moffat,
"Off-line dictionary-based compression", 2000); then phrases that don't pay are written out again. So
that the player reads each event in the same time, a phrase begins and ends with an event: at most one
phrase ends, and at most one begins, between two events.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

PHRASE_BYTES = 3
"""Of a phrase, besides what is in it: its address, and its end."""

_LOOP = -1
"""In a sequence: here the loop begins, which no phrase goes over."""

Pair = tuple[int, int]


class Phrases(NamedTuple):
    """A song as symbols: from 0 the kinds of events, then the phrases."""

    sequence: tuple[int, ...]
    loop: int | None
    """The place in the sequence to go on with after its end; None: the piece ends."""
    phrases: tuple[tuple[int, ...], ...]


def find_phrases(
    sequence: Sequence[int], sizes: Sequence[int], loop: int | None, most: int
) -> Phrases:
    """Return a song's phrases.

    Parameters
    ----------
    sequence
        The kind of each event.
    sizes
        The bytes that an event of each kind takes.
    loop
        The place in the sequence to go on with after its end.
    most
        How many phrases there may be.
    """
    symbols = list(sequence)
    if loop is not None:
        symbols.insert(loop, _LOOP)
    grammar = _Grammar(symbols, sizes)
    grammar.join()
    grammar.write_out_losses()
    while grammar.write_out_borders():
        grammar.write_out_losses()
    grammar.keep(most)
    return grammar.found()


class _Grammar:
    """A sequence of symbols and what the phrases among them hold."""

    def __init__(self, sequence: list[int], sizes: Sequence[int]) -> None:
        self.sequence = sequence
        self.kinds = len(sizes)
        self.sizes = sizes
        self.phrases: dict[int, list[int]] = {}

    def join(self) -> None:
        """Make phrases of pairs until none occurs twice, those that occur most first."""
        while pairs := self._pairs():
            for pair in pairs:
                pairs[pair] = self.kinds + len(self.phrases)
                self.phrases[pairs[pair]] = list(pair)
            self.sequence = _joined(self.sequence, pairs)

    def _pairs(self) -> dict[Pair, int]:
        """Return pairs that occur most, half as often at least, without a symbol in common."""
        counts = _counted(self.sequence)
        least = max(2, max(counts.values(), default=0) // 2)
        taken: set[int] = set()
        found = {}
        for pair, count in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
            if count < least:
                break
            if taken.isdisjoint(pair):
                taken.update(pair)
                found[pair] = 0
        return found

    def write_out_losses(self) -> None:
        """Write phrases out that save nothing, those that lose most first."""
        uses = Counter(self.sequence)
        for phrase in self.phrases.values():
            uses.update(phrase)
        while self.phrases:
            gain, number = min((self._gain(number, uses), number) for number in self.phrases)
            if gain > 0:
                return
            phrase = self.phrases.pop(number)
            for symbol in phrase:
                uses[symbol] += uses[number] - 1
            del uses[number]
            self._write_out(number, phrase)

    def _gain(self, number: int, uses: Counter[int]) -> int:
        size = sum(map(self._size, self.phrases[number]))
        return uses[number] * (size - 1) - size - PHRASE_BYTES

    def _size(self, symbol: int) -> int:
        return self.sizes[symbol] if 0 <= symbol < self.kinds else 1

    def _write_out(self, number: int, phrase: list[int]) -> None:
        for held in (self.sequence, *self.phrases.values()):
            while number in held:
                place = held.index(number)
                held[place : place + 1] = phrase

    def write_out_borders(self) -> bool:
        """Write out phrases with which others begin or end, and one that a loop ends with."""
        done = False
        for phrase in self.phrases.values():
            for place in (0, -1):
                while phrase[place] >= self.kinds:
                    inner = self.phrases[phrase[place]]
                    phrase[:] = [*inner, *phrase[1:]] if place == 0 else [*phrase[:-1], *inner]
                    done = True
        while _LOOP in self.sequence and self.sequence[-1] >= self.kinds:
            self.sequence[-1:] = self.phrases[self.sequence[-1]]
            done = True
        return done

    def keep(self, most: int) -> None:
        """Keep the phrases that save most."""
        while len(self.phrases) > most:
            uses = Counter(self.sequence)
            for phrase in self.phrases.values():
                uses.update(phrase)
            number = min(self.phrases, key=lambda number: (self._gain(number, uses), number))
            self._write_out(number, self.phrases.pop(number))
            self.write_out_borders()

    def found(self) -> Phrases:
        """Return what was found, the phrases numbered anew."""
        numbers = {number: self.kinds + index for index, number in enumerate(self.phrases)}
        loop = self.sequence.index(_LOOP) if _LOOP in self.sequence else None
        return Phrases(
            tuple(numbers.get(symbol, symbol) for symbol in self.sequence if symbol != _LOOP),
            loop,
            tuple(
                tuple(numbers.get(symbol, symbol) for symbol in phrase)
                for phrase in self.phrases.values()
            ),
        )


def _counted(sequence: list[int]) -> Counter[Pair]:
    """Count the pairs of neighbours; of three equal ones in a row only two are a pair."""
    found = Counter(pairwise(sequence))
    last = None
    for pair in pairwise(sequence):
        overlaps = pair == last and pair[0] == pair[1]
        last = None if overlaps else pair
        if overlaps:
            found[pair] -= 1
    return Counter({pair: count for pair, count in found.items() if _LOOP not in pair})


def _joined(sequence: list[int], pairs: dict[Pair, int]) -> list[int]:
    found = []
    waiting: int | None = None
    for symbol in sequence:
        if waiting is None:
            waiting = symbol
        elif (waiting, symbol) in pairs:
            found.append(pairs[waiting, symbol])
            waiting = None
        else:
            found.append(waiting)
            waiting = symbol
    return found if waiting is None else [*found, waiting]
