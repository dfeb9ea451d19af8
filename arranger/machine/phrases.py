"""Which symbols of a song are stored once and played where: phrases, which hold phrases in turn.

Pairs of neighbours are joined for as long as one occurs twice (a grammar, after Larsson and Moffat,
"Off-line dictionary-based compression", 2000); then phrases that don't pay are written out again. So
that the player reads each event in the same time, a phrase begins and ends with an event: at most one
phrase ends, and at most one begins, between two events.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from itertools import chain
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import begins
from arranger.compiled import compiled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Ints

_compiled = compiled("arranger.machine._phrases", "e6f92c77")

PHRASE_BYTES = 3
"""Of a phrase, besides what is in it: its address, and its end."""

_LOOP = -1
"""In a sequence: here the loop begins, which no phrase goes over."""

_BASE = 1 << 31
"""Above any symbol: what the first of a pair counts, where both are one number."""

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

    ``sequence``: the kind of each event.
    ``sizes``: the bytes that an event of each kind takes.
    ``loop``: the place in the sequence to go on with after its end.
    ``most``: how many phrases there may be.
    """
    symbols = list(sequence)
    if loop is not None:
        symbols.insert(loop, _LOOP)
    if _compiled is None:
        song, *phrases = _in_python(symbols, sizes, most)
    else:
        columns = (np.array(each, dtype=np.int64) for each in (symbols, sizes))
        song, *phrases = _compiled.phrases(*columns, most, PHRASE_BYTES)
    loop = song.index(_LOOP) if loop is not None else None
    sequence = tuple([symbol for symbol in song if symbol != _LOOP])
    return Phrases(sequence, loop, tuple(map(tuple, phrases)))


def _in_python(symbols: list[int], sizes: Sequence[int], most: int) -> list[list[int]]:
    """Return the song and each phrase."""
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
        symbols = np.array(self.sequence, dtype=np.int64)
        while pairs := _often(symbols):
            first = self.kinds + len(self.phrases)
            for number, pair in enumerate(pairs, start=first):
                self.phrases[number] = list(pair)
            symbols = _joined(symbols, np.array(pairs), first)
        self.sequence = symbols.tolist()

    def write_out_losses(self) -> None:
        """Write phrases out that save nothing, those that lose most first.

        Each that is written out makes others longer or used more, so what is kept stays worth it.
        """
        uses = self._uses()
        sizes = {
            number: sum([self.sizes[symbol] if symbol < self.kinds else 1 for symbol in phrase])
            for number, phrase in self.phrases.items()
        }
        holders: defaultdict[int, set[int]] = defaultdict(set)
        for number, phrase in self.phrases.items():
            for symbol in phrase:
                holders[symbol].add(number)

        def gain(number: int) -> int:
            return uses[number] * (sizes[number] - 1) - sizes[number] - PHRASE_BYTES

        dropped = {}
        for number in sorted(self.phrases, key=lambda number: (gain(number), number)):
            if gain(number) > 0:
                continue
            phrase = dropped[number] = self.phrases.pop(number)
            for symbol in phrase:
                uses[symbol] += uses[number] - 1
                holders[symbol] |= holders[number]
                holders[symbol].discard(number)
            for holder in holders.pop(number, ()):
                sizes[holder] += (sizes[number] - 1) * self.phrases[holder].count(number)
                self.phrases[holder] = _written_out(self.phrases[holder], {number: phrase})
        self.sequence = _written_out(self.sequence, dropped)

    def _uses(self) -> Counter[int]:
        return Counter(chain(self.sequence, *self.phrases.values()))

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
        """Keep the phrases that are used most."""
        uses = self._uses()
        kept = sorted(self.phrases, key=lambda number: (-uses[number], number))[:most]
        dropped = {number: self.phrases.pop(number) for number in self.phrases.keys() - set(kept)}
        self.sequence = _written_out(self.sequence, dropped)
        for number, phrase in self.phrases.items():
            self.phrases[number] = _written_out(phrase, dropped)

    def found(self) -> list[list[int]]:
        """Return the song and each phrase, the phrases numbered anew."""
        numbers = {number: self.kinds + index for index, number in enumerate(self.phrases)}
        rules = (self.sequence, *self.phrases.values())
        return [[numbers.get(symbol, symbol) for symbol in rule] for rule in rules]


def _often(symbols: Ints) -> list[Pair]:
    """Return pairs that occur most, half as often at least, without a symbol in common."""
    pairs, counts = _counted(symbols)
    many = np.flatnonzero(counts >= max(2, counts.max(initial=0) // 2))
    taken: set[int] = set()
    found = []
    for key in pairs[many[np.argsort(-counts[many], kind="stable")]].tolist():
        first, second = divmod(key, _BASE)
        if first not in taken and second not in taken:
            taken.update((first, second))
            found.append((first, second))
    return found


def _counted(symbols: Ints) -> tuple[Ints, Ints]:
    """Return the pairs of neighbours, rising, each as one number, and how often each can be joined."""
    left, right = symbols[:-1], symbols[1:]
    equal = np.flatnonzero(left == right)
    counted = (left != _LOOP) & (right != _LOOP)
    counted[equal] = False
    counted[_apart(equal)] = True
    keys = np.sort((left * _BASE + right)[counted])
    firsts = np.flatnonzero(begins(keys))
    return keys[firsts], np.diff(firsts, append=len(keys))


def _joined(symbols: Ints, pairs: Ints, first: int) -> Ints:
    """Return symbols with numbers, from the first on, in the place of pairs that share no symbol."""
    size = int(symbols.max()) + 2  # the last for the loop, -1
    number, second = np.zeros(size, dtype=np.int64), np.full(size, _LOOP - 1)
    number[pairs[:, 0]] = np.arange(first, first + len(pairs))
    second[pairs[:, 0]] = pairs[:, 1]
    places = _apart(np.flatnonzero(second[symbols[:-1]] == symbols[1:]))
    found = symbols.copy()
    found[places] = number[symbols[places]]
    stays = np.ones(len(found), dtype=np.bool_)
    stays[places + 1] = False
    return found[stays]


def _apart(places: Ints) -> Ints:
    """Return places, in order, of which no two are neighbours: every other one, from the left."""
    begun = begins(places - np.arange(len(places)))
    runs = places[begun][np.cumsum(begun) - 1]
    found: Ints = places[(places - runs) % 2 == 0]
    return found


def _written_out(symbols: list[int], phrases: dict[int, list[int]]) -> list[int]:
    """Return symbols with what phrases hold in their place."""
    found: list[int] = []
    for symbol in symbols:
        if symbol in phrases:
            found += _written_out(phrases[symbol], phrases)
        else:
            found.append(symbol)
    return found
