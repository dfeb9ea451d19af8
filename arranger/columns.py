"""Columns of numbers: what they are called in signatures, and views and sums of them.

`distinct`, `median` and `among` stand in for ``np.unique``, ``np.median`` and ``np.isin``, which import
``numpy.ma`` when they are first called: a tenth of all that is imported.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from typing import NamedTuple, TypeVar

    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Scalar = TypeVar("Scalar", bound=np.generic)
    Named = TypeVar("Named", bound=NamedTuple)

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


def in_turn(values: NDArray[Any]) -> tuple[Ints, Ints]:
    """Return where each different value of a column comes first, rising, and which of them each is."""
    _, first, which = np.unique(values, return_index=True, return_inverse=True)
    turn = np.argsort(first)
    place = np.empty_like(turn)
    place[turn] = np.arange(len(turn))
    return first[turn], place[which]


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
