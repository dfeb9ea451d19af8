"""Columns of numbers: what they are called in signatures, and a view to read them one by one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]


def view(column: NDArray[Any]) -> Sequence[Any]:
    """Return a column as a sequence of Python's own numbers, without a copy.

    Nearly as quick to index as a list, at an eighth to a third of its memory.
    """
    return memoryview(np.ascontiguousarray(column))  # type: ignore[arg-type]  # Python 3.12's Buffer
