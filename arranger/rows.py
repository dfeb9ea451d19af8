"""The cells of a voice: what a row of the sheet is made of, from the reduction on.

A cell is a MIDI note number (the tone starts here), `HOLD` (the tone before goes on) or `REST`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy as np
    from numpy.typing import NDArray

HOLD = -1
REST = -2

Row = tuple[int, ...]
"""The cells of one voice, one a step."""


def tones(row: Row) -> list[int | None]:
    """Return the pitch that each step of a voice holds, or None; drums are not looked at.

    A hold with nothing before it is silent.

    >>> tones((60, HOLD, REST, HOLD, 62))
    [60, 60, None, None, 62]
    """
    held: int | None = None
    result: list[int | None] = []
    for cell in row:
        if cell != HOLD:
            held = None if cell == REST else cell
        result.append(held)
    return result


def pitches_of(row: Sequence[int]) -> NDArray[np.int64]:
    """Return the pitch that each step of a voice holds, or -1, as `tones` does; shape (steps,)."""
    import numpy as np  # what only checks a sheet doesn't wait for it

    cells = np.array(row, dtype=np.int64)
    begun = np.maximum.accumulate(np.where(cells != HOLD, np.arange(len(cells)), 0))
    return np.maximum(cells[begun], -1)


def tone_spans(row: Sequence[int]) -> Iterator[tuple[int, int, int]]:
    """Yield first step, end step and pitch of each tone of a voice.

    >>> list(tone_spans((60, HOLD, REST, HOLD, 62, 62)))
    [(0, 2, 60), (4, 5, 62), (5, 6, 62)]
    """
    start, pitch = 0, REST
    for step, cell in enumerate(row):
        if cell != HOLD:
            if pitch != REST:
                yield start, step, pitch
            start, pitch = step, cell
    if pitch != REST:
        yield start, len(row), pitch
