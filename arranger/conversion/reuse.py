"""Which notes of a song have to be accounted anew, when a sheet was told before and little changed.

What becomes of a note is read from the steps it is asked for and those it is heard on, two more on
either side for gaps and ties, and from whether anything sounds for it at all. So after an edit only notes near
the steps that changed can fare otherwise; a test compares with accounting for all.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.rows import pitches_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Bools, Ints
    from arranger.conversion import Conversion
    from arranger.grid.model import Grid
    from arranger.reduce.tell.asked import Asked
    from arranger.sheet.model import Sheet

_AROUND = 2
"""Steps beside a note that matter for it: a gap, and the tone that it is for."""


def notes_anew(
    known: Conversion, sheet: Sheet, grid: Grid, asked: Asked, owners: Sequence[Sequence[int]]
) -> list[int] | None:
    """Return the notes whose entries may differ from those known; None: any may.

    ``known``: the sheet as it was told before, against the same song.
    ``sheet``, ``grid``: the sheet now.
    ``asked``: what the song asks for on its steps; the hand is the last of the notes.
    ``owners``: for drums, voice 1 and voice 2 the note that each step is for, as in `revise`.
    """
    before, was = known.sheet, known.reduction
    same = (grid.bars, grid.step_length, sheet.sounds) == (
        known.grid.bars, known.grid.step_length, before.sounds,
    )  # fmt: skip
    if not same:
        return None
    hand = len(asked.onset) - 1
    rows = [np.where(np.array(row) == hand, -1, row) for row in owners]
    sources = [np.array(row) for row in (was.drum_sources, was.sources1, was.sources2)]
    changed = np.any([a != b for a, b in zip(rows, sources, strict=True)], axis=0)
    for a, b in ((sheet.voice1, before.voice1), (sheet.voice2, before.voice2)):
        changed |= (np.array(a) != np.array(b)) | (pitches_of(a) != pitches_of(b))
    changed |= np.array([a != b for a, b in zip(sheet.drums, before.drums, strict=True)])
    ends = np.maximum(np.array(asked.end), np.array(asked.note_end))
    found = _around(changed, np.array(asked.onset), ends)
    steps = np.arange(len(changed))
    near = _around(changed, steps, steps + 1)
    for row in (*rows, *sources):
        found[row[near]] = True  # -1 is the hand's place
    return np.flatnonzero(found[:hand]).tolist()


def _around(changed: Bools, first: Ints, end: Ints) -> Bools:
    """Return which stretches of steps have one that changed, or one beside them."""
    total = np.concatenate(([0], np.cumsum(changed)))
    low, high = (total[np.clip(at, 0, len(changed))] for at in (first - _AROUND, end + _AROUND))
    near: Bools = high > low
    return near
