"""What became of the tones, in C where that was compiled; `arranger.reduce.tell.account` says why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import named_rows
from arranger.compiled import compiled
from arranger.reduce.ledger import Entry, Span
from arranger.reduce.reasons import OUTCOMES

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.reduce.perform.heard import Heard
    from arranger.reduce.tell.asked import Asked
    from arranger.reduce.tell.thresholds import Thresholds

_compiled = compiled("arranger.reduce.tell._account", "1242666f")

_NUMBERS = (
    "onset", "end", "note_end", "pitch", "out", "part", "lead", "octave_of", "duplicate_of",
)  # fmt: skip
_FLOATS = ("written_end", "rings", "offset")
"""The columns of `Asked` in the order in which they are given."""

_OUTCOMES = tuple(OUTCOMES)
_REASONS = (
    "", "repeat-tied", "same-pitch-doubled", "octave-doubled", "under-drum", "voices-full",
    "stands-alone", "same-step", "no-turn", "delayed-by-drum", "moved-to-step", "octave-folded",
    "lengthened-to-step", "shortened-for-gap", "shortened-by-next-note", "broken-chord",
)  # fmt: skip
"""As ``_account.c`` numbers them."""


def entries_of_tones(
    asked: Asked, heard: Heard, notes: Sequence[int], limits: Thresholds
) -> Iterator[Entry]:
    """Return the entry of each of some notes that are no drums and may sound."""
    rows = np.empty((len(notes), 5), dtype=np.int64)
    late = np.empty(len(notes))
    spans, by = _compiled.entries(
        (
            *(np.ascontiguousarray(getattr(asked, name), np.int64) for name in _NUMBERS),
            *(np.ascontiguousarray(getattr(asked, name), np.float64) for name in _FLOATS),
            np.ascontiguousarray(asked.tune, np.bool_),
            *(np.ascontiguousarray(turning, np.bool_) for turning in asked.turning),
            heard.silenced,
            *(np.array(row, dtype=np.int64) for row in heard.sources),
            *heard.pitches,
            np.array(heard.drum_at, dtype=np.int64),
            np.array(heard.hidden, dtype=np.float64),
            np.array(notes, dtype=np.int64),
            rows,
            late,
        ),
        asked.step_seconds,
        asked.steps_per_beat,
        *limits,
    )
    stretches = named_rows(Span, np.frombuffer(spans, np.int64).reshape(-1, 3).tolist())
    blamed = np.frombuffer(by, np.int64).tolist()
    said: dict[int, tuple[str, ...]] = {0: ()}
    told = []
    first = begin = 0
    for note, (outcome, reasons, pitch, after, end), seconds in zip(
        notes, rows.tolist(), late.tolist(), strict=True
    ):
        if reasons not in said:
            said[reasons] = _reasons(reasons)
        heard_in, taken_by = tuple(stretches[first:after]), tuple(blamed[begin:end])
        out = pitch if heard_in else None
        told.append(
            (note, _OUTCOMES[outcome], said[reasons], heard_in, out, taken_by, None, seconds)
        )
        first, begin = after, end
    return iter(named_rows(Entry, told))


def _reasons(packed: int) -> tuple[str, ...]:
    """Return reasons that are packed into four bits each."""
    found = []
    while packed:
        found.append(_REASONS[packed & 15])
        packed >>= 4
    return tuple(found)
