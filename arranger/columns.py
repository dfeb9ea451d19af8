"""Columns of numbers: what they are called in signatures, views and sums of them, and columns of texts.

`distinct`, `median` and `among` stand in for ``np.unique``, ``np.median`` and ``np.isin``, which import
``numpy.ma`` when they are first called: a tenth of all that is imported.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable, Sequence
    from typing import TypeVar

    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Scalar = TypeVar("Scalar", bound=np.generic)
    Named = TypeVar("Named", bound=NamedTuple)
    Value = TypeVar("Value", bound=Hashable)


_MOST_KEYS = 1 << 62
_DENSE = 16

# Freed at once, untouched: from then on glibc keeps up to twice as much of what arrays leave for the next
# ones, instead of having the system take it back and fill it with zeros anew, which took a tenth of a
# conversion's time. Elsewhere it does nothing.
np.empty(1 << 24, dtype=np.uint8)


def view(column: NDArray[Any]) -> Sequence[Any]:
    """Return a column as a sequence of Python's own numbers, without a copy.

    Nearly as quick to index as a list, at an eighth to a third of its memory.
    """
    return memoryview(np.ascontiguousarray(column))  # type: ignore[arg-type]  # Python 3.12's Buffer


def named_rows(kind: type[Named], rows: Iterable[Sequence[Any]]) -> list[Named]:
    """Return named tuples of rows that have all their fields, in a third of the time of calls of ``kind``."""
    return list(map(partial(tuple.__new__, kind), rows))


def unchanging(column: NDArray[Scalar]) -> NDArray[Scalar]:
    """Return a column that from now on can't be changed, since several share it."""
    column.setflags(write=False)
    return column


def distinct(values: NDArray[Any]) -> NDArray[Any]:
    """Return the different values of a column, rising."""
    ordered = np.sort(values)
    return ordered[np.append(True, ordered[1:] != ordered[:-1])] if len(ordered) else ordered


def in_turn(*columns: Ints | Bools) -> tuple[Ints, Ints]:
    """Return where each different row of some columns comes first, rising, and which of them each row is."""
    key, size = np.zeros(len(columns[0]), dtype=np.int64), 1
    for column in columns:
        low = int(column.min(initial=0))
        span = int(column.max(initial=0)) - low + 1
        if size * span >= _MOST_KEYS:
            key, size = np.unique(key, return_inverse=True)[1], len(key)
        key, size = key * span + (column - low), size * span
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    turn = np.argsort(first)
    place = np.empty_like(turn)
    place[turn] = np.arange(len(turn))
    return first[turn], place[which]


def order_of(*keys: NDArray[Any]) -> Ints:
    """Return the order by some columns, the last one first, as ``np.lexsort``; quick for whole numbers of 16 bits."""
    order = _order_of_one(keys[0])
    for key in keys[1:]:
        order = order[_order_of_one(key[order])]
    return order


def _order_of_one(key: NDArray[Any]) -> Ints:
    if key.dtype.kind == "i" and len(key):
        lowest = key.min()
        if key.max() - lowest < 1 << 16:
            key = (key - lowest).astype(np.uint16)
    return np.argsort(key, kind="stable")


def begins(values: NDArray[Any]) -> Bools:
    """Return where a column has another value than just before; the first is one."""
    found = np.ones(len(values), dtype=np.bool_)
    np.not_equal(values[1:], values[:-1], out=found[1:])
    return found


def ranges(numbers: Ints) -> Ints:
    """Return 0, 1, .. n - 1 for each n, one after the other."""
    result: Ints = np.arange(numbers.sum()) - np.repeat(np.cumsum(numbers) - numbers, numbers)
    return result


def among(values: Ints, wanted: Ints) -> Bools:
    """Return which values are among the wanted ones."""
    ordered = np.sort(wanted)
    place = np.searchsorted(ordered, values)
    found: Bools = (place < len(ordered)) & (np.append(ordered, 0)[place] == values)
    return found


def median(values: NDArray[Any]) -> NDArray[Any]:
    """Return the medians along the last axis; of no values they are no numbers."""
    ordered, count = np.sort(values), values.shape[-1]
    if not count:
        return np.full(values.shape[:-1], np.nan)
    middle: NDArray[Any] = (ordered[..., (count - 1) // 2] + ordered[..., count // 2]) / 2
    return middle


class TextColumn(NamedTuple):
    """A text for each row, where many rows have the same."""

    different: Sequence[str]
    which: Ints
    """Which of them each row has."""

    def changed(self, change: Callable[[str], str]) -> TextColumn:
        """Return the column with each text changed."""
        return TextColumn([change(text) for text in self.different], self.which)

    def rows(self) -> list[str]:
        """Return the text of each row."""
        rows: list[str] = np.array(self.different, dtype=object)[self.which].tolist()
        return rows


def joined_texts(columns: Sequence[TextColumn]) -> list[str]:
    """Return what the texts of columns make in each row, one after the other."""
    return list(map("".join, zip(*(column.rows() for column in columns), strict=True)))


def number_texts(values: NDArray[Any], text: Callable[[Any], str] = repr) -> TextColumn:
    """Return numbers as text."""
    different, which = _told_apart(values)
    return TextColumn([text(value) for value in different.tolist()], which)


def _told_apart(values: NDArray[Any]) -> tuple[NDArray[Any], Ints]:
    """Return the different values, rising, and which of them each is."""
    if values.dtype.kind == "i" and len(values):
        low = values.min()
        places = values - low
        span = int(places.max()) + 1
        if span < _DENSE * len(values):  # a table of all that there might be is quicker than order
            there = np.zeros(span, dtype=np.bool_)
            there[places] = True
            return np.flatnonzero(there) + low, (np.cumsum(there) - 1)[places]
    return np.unique(values, return_inverse=True)


def value_texts(values: Sequence[Value], text: Callable[[Value], str]) -> TextColumn:
    """Return values of any kind as text."""
    different, which = numbered_values(values)
    return TextColumn([text(value) for value in different], which)


def numbered_values(values: Sequence[Value]) -> tuple[list[Value], Ints]:
    """Return the different values, and which of them each is."""
    number = {value: at for at, value in enumerate(dict.fromkeys(values))}
    return [*number], np.fromiter(map(number.__getitem__, values), np.int64, len(values))
