"""The record of what was generated, when bars come, go and move: it goes with them.

So a bar that moved is known for what it was, and takes part in the next conversion: only what a hand
changed in it is an edit. The record keeps the song's numbers, and notes the sheet's. Bars that were
taken out stay behind the bar that was before them. A tone that a bar had to start anew, since what it
held is no longer before it, is so in the record too: it is no edit.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from arranger.rows import HOLD, tones
from arranger.sheet.bar_edits.taken_apart import put_together, take_apart
from arranger.sheet.merging.pieces import all_in_order
from arranger.sheet.record.base import base_of, with_base

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.model import Sheet


def with_record(before: Sheet, after: Sheet, keys: Sequence[int | None]) -> Sheet:
    """Return a sheet whose bars were put into another order, with the record that it has then.

    ``before``, ``after``: the sheet before and after.
    ``keys``: for each bar after, its index before; None for a new one.
    """
    if before.generated is None:
        return after
    base = base_of(before)
    matched = [None if key is None else base.matched[key] for key in keys]
    kept = [origin for origin in matched if origin is not None]
    then = base.sheet
    order = all_in_order(len(then.bars), kept)
    if order != list(range(len(order))):
        blocks = take_apart(then)
        then = put_together(then, [blocks[origin] for origin in order]).sheet
    where = {origin: place for place, origin in enumerate(order)}
    places = [None if origin is None else where[origin] for origin in matched]
    started = _started(before, after, keys, places, then)
    named = tuple(base.keys[origin] for origin in order) if base.keys else ()
    return with_base(after, started, base.transpose, places, named)


def _started(
    before: Sheet,
    after: Sheet,
    keys: Sequence[int | None],
    places: Sequence[int | None],
    then: Sheet,
) -> Sheet:
    """Return the base with those tones started that bars start now and held before."""
    rows = [list(then.voice1), list(then.voice2)]
    sides = (before, after, then)
    starts = [sheet.bar_starts for sheet in sides]
    voices = [(sheet.voice1, sheet.voice2) for sheet in sides]
    held = [tones(then.voice1), tones(then.voice2)]
    for place, (key, origin) in enumerate(zip(keys, places, strict=True)):
        if key is None or origin is None:
            continue
        was, now, base = starts[0][key], starts[1][place], starts[2][origin]
        for voice in (0, 1):
            held_before = voices[0][voice][was] == HOLD == voices[2][voice][base]
            pitch = held[voice][base]
            if held_before and pitch is not None and voices[1][voice][now] == pitch:
                rows[voice][base] = pitch
    return replace(then, voice1=tuple(rows[0]), voice2=tuple(rows[1]))
