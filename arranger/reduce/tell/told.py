"""What became of the notes, in C where that was compiled; `arranger.reduce.tell.account` says why."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from arranger.compiled import compiled
from arranger.reduce.ledger import EntryColumns, Spans
from arranger.reduce.reasons import OUTCOMES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from arranger.columns import Bools, Ints
    from arranger.reduce.perform.heard import Heard
    from arranger.reduce.tell.asked import Asked
    from arranger.reduce.tell.thresholds import Thresholds

_compiled = compiled("arranger.reduce.tell._account", "1f6d0904")

_NUMBERS = ("onset", "end", "note_end", "pitch", "out", "part", "lead", "octave_of", "duplicate_of")
_FLOATS = ("written_end", "rings", "offset")
_FLAGS = ("tune", "drum")
"""The columns of `Asked` in the order in which they are given."""

_OUTCOMES = tuple(OUTCOMES)
_REASONS = (
    "",
    "repeat-tied",
    "same-pitch-doubled",
    "octave-doubled",
    "under-drum",
    "voices-full",
    "stands-alone",
    "same-step",
    "no-turn",
    "delayed-by-drum",
    "moved-to-step",
    "octave-folded",
    "lengthened-to-step",
    "shortened-for-gap",
    "shortened-by-next-note",
    "broken-chord",
    "drum-thinned",
)
"""As ``_account.c`` numbers them."""


def told_in_c(
    asked: Asked,
    heard: Heard,
    sounds: Sequence[str | None],
    notes: Sequence[int],
    limits: Thresholds,
) -> EntryColumns:
    """Return the entries of some notes."""
    number = {name: n for n, name in enumerate(dict.fromkeys((None, *asked.sound, *sounds)))}
    ids = np.array(notes, dtype=np.int64)
    refused = np.zeros(len(asked.drum), dtype=np.bool_)
    refused[list(asked.refused)] = True
    numbers = [np.ascontiguousarray(getattr(asked, name), np.int64) for name in _NUMBERS]
    flags = [np.ascontiguousarray(getattr(asked, name), np.bool_) for name in _FLAGS]
    mine = np.array([number[name] for name in asked.sound], dtype=np.int64)
    rows = np.empty((len(notes), 6), dtype=np.int64)
    late = np.empty(len(notes))
    spans, by = _compiled.entries(
        (
            *numbers,
            mine,
            _first_alike(numbers[0], mine, flags[1] & ~refused),
            *(np.ascontiguousarray(getattr(asked, name), np.float64) for name in _FLOATS),
            *flags,
            refused,
            *(np.ascontiguousarray(turning, np.bool_) for turning in asked.turning),
            heard.silenced,
            *(np.array(row, dtype=np.int64) for row in heard.sources),
            *heard.pitches,
            np.array(heard.drum_at, dtype=np.int64),
            np.array(heard.hidden, dtype=np.float64),
            np.array([number[name] for name in sounds], dtype=np.int64),
            _joined(asked.joins, number),
            ids,
            rows,
            late,
        ),
        len(number),
        number.get(asked.gap, 0),
        asked.step_seconds,
        asked.steps_per_beat,
        *limits,
    )
    outcome, packed, pitch, sound, _, by_end = rows.T.tolist()
    names, others = tuple(number), tuple(np.frombuffer(by, np.int64).tolist())
    reasons_of = {each: _reasons(each) for each in {*packed}}
    reasons = [reasons_of[each] for each in packed]
    taken_by = [others[first:end] for first, end in pairwise((0, *by_end))]
    for place in np.flatnonzero(refused[ids]).tolist():
        reason, taken_by[place] = asked.refused[notes[place]]
        reasons[place] = (reason,)
    return EntryColumns(
        note=tuple(notes),
        outcome=tuple([_OUTCOMES[each] for each in outcome]),
        reasons=tuple(reasons),
        spans=Spans(np.frombuffer(spans, np.int64).reshape(-1, 3), rows[:, 4]),
        pitch_out=tuple([None if each < 0 else each for each in pitch]),
        by=tuple(taken_by),
        sound=tuple([names[each] for each in sound]),
        late_seconds=tuple(late.tolist()),
    )


def _first_alike(onset: Ints, sound: Ints, drum: Bools) -> Ints:
    """Return the first of the drums that say the same on a step, for each; shape (notes,)."""
    found = np.zeros(len(onset), dtype=np.int64)
    ids = np.flatnonzero(drum)
    kind = onset[ids] * (int(sound.max(initial=0)) + 1) + sound[ids]
    _, first, which = np.unique(kind, return_index=True, return_inverse=True)
    found[ids] = ids[first][which]
    return found


def _joined(joins: Mapping[str, tuple[str, ...]], number: Mapping[str | None, int]) -> Bools:
    """Return for two sounds, by number, whether the first says the second."""
    found = np.eye(len(number), dtype=np.bool_)
    for name, others in joins.items():
        if name in number:
            found[number[name], [number[other] for other in others if other in number]] = True
    return found


def _reasons(packed: int) -> tuple[str, ...]:
    """Return reasons that are packed into five bits each."""
    found = []
    while packed:
        found.append(_REASONS[packed & 31])
        packed >>= 5
    return tuple(found)
