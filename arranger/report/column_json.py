"""The account's columns as JSON text, each value written once.

Ledger, table and page all write the same values. Most columns have few different ones (pitches,
bars, velocities), so a value is turned into text once and then looked up.
"""

from __future__ import annotations

import json
from json.encoder import encode_basestring
from typing import TYPE_CHECKING, Any

import numpy as np

from arranger.columns import TextColumn, number_texts, value_texts
from arranger.reduce.reasons import OUTCOMES
from arranger.report.account_columns import account_of, sentence_columns
from arranger.report.remember import remembered

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from arranger.columns import Ints
    from arranger.conversion import Conversion
    from arranger.reduce.ledger import Spans

    Cell = tuple[str | TextColumn, ...]
    """What stands in a column of a table: in each row these pieces, one after the other."""


MOST_TOGETHER = 10_000
"""Notes whose texts are in memory at once."""


def stretches(conversion: Conversion) -> Iterator[tuple[range, Mapping[str, Cell]]]:
    """Yield notes, so many at a time, with the columns of the ledger for them as JSON text.

    Columns are in the ledger's order and names. Most songs are one stretch, which is remembered.
    """
    count = len(conversion.song.notes)
    for first in range(0, count, MOST_TOGETHER):
        notes = range(first, min(first + MOST_TOGETHER, count))
        yield notes, _cells(conversion, notes)


@remembered
def _cells(conversion: Conversion, notes: range) -> Mapping[str, Cell]:
    found, these = account_of(conversion), slice(notes.start, notes.stop)
    note, entry = conversion.song.columns, conversion.reduction.ledger.columns
    onset, seconds = _onsets(note.onset[these], found.onset_seconds[these])
    voice, step, steps, spans = _heard_in(entry.spans, these)
    sentence = (column.changed(_escaped) for column in sentence_columns(conversion, notes))
    return {
        "id": (TextColumn([*map(repr, notes)], np.arange(len(notes))),),
        "track": (number_texts(note.track[these]),),
        "part": (number_texts(note.part[these] + 1),),
        "channel": (number_texts(note.channel[these]),),
        "onset_tick": (onset,),
        "duration_tick": (number_texts(note.duration[these]),),
        "onset_seconds": (seconds,),
        "pitch": (number_texts(note.pitch[these]),),
        "velocity": (number_texts(note.velocity[these]),),
        "drum": (number_texts(note.drum[these], json_text),),
        "bar": (number_texts(np.array(found.bar[these])),),
        "beat": (number_texts(np.array(found.beat[these])),),
        "outcome": (TextColumn([json_text(each) for each in OUTCOMES], found.outcome[these]),),
        "reasons": (TextColumn([json_text(r) for r in found.all_reasons], found.reason[these]),),
        "voice": (voice,),
        "step": (step,),
        "steps": (steps,),
        "pitch_out": (value_texts(entry.pitch_out[these], json_text),),
        "sound": (value_texts(entry.sound[these], json_text),),
        "late_seconds": (
            value_texts(entry.late_seconds[these], lambda late: repr(round(late, 6))),
        ),
        "spans": spans,
        "by": (value_texts(entry.by[these], lambda notes: str([*notes])),),
        "explanation": ('"', *sentence, '"'),
        "song_bar": (number_texts(np.array(found.song_bar[these])),),
    }


def _onsets(ticks: Ints, seconds: Sequence[float]) -> tuple[TextColumn, TextColumn]:
    """Return onsets in ticks and in seconds; those on one tick have one text."""
    different, first, which = np.unique(ticks, return_index=True, return_inverse=True)
    return (
        TextColumn([*map(repr, different.tolist())], which),
        TextColumn([repr(seconds[place]) for place in first.tolist()], which),
    )


def _heard_in(spans: Spans, these: slice) -> tuple[TextColumn, TextColumn, TextColumn, Cell]:
    """Return voice, step and steps of the first stretch that notes are heard in, and all stretches."""
    voice, step, steps = spans.first[these].T
    counts = (spans.ends - spans.begins)[these]
    more = np.flatnonzero(counts > 1)
    counts[more] = np.arange(2, len(more) + 2)
    others = [_others(spans, note) for note in (more + these.start).tolist()]
    begins, lasts = (
        number_texts(column, lambda number: "" if number < 0 else repr(number))
        for column in (step, steps)
    )
    opened = TextColumn(["[]", "[[0,", "[[1,", "[[2,"], voice + 1)
    closed = TextColumn(["", "]", *others], counts)
    return (
        TextColumn(["null", "null", "1", "2"], voice + 1),  # of a drum no voice is told
        begins.changed(_or_null),
        lasts.changed(_or_null),
        (opened, begins, lasts.changed(lambda steps: steps and f",{steps}]"), closed),
    )


def _others(spans: Spans, note: int) -> str:
    """Return what follows the first of a note's stretches."""
    cells = spans.cells[spans.begins[note] + 1 : spans.ends[note]].tolist()
    return "".join([f",[{voice},{step},{steps}]" for voice, step, steps in cells]) + "]"


def _or_null(text: str) -> str:
    return text or "null"


def _escaped(text: str) -> str:
    """Return a text as it stands between the quotes of JSON."""
    return encode_basestring(text)[1:-1]


def json_text(value: Any) -> str:
    """Return a value as JSON text; `json.dumps` sets up an encoder each time, which takes longer."""
    if value is None:
        return "null"
    if type(value) in (int, float):
        return repr(value)
    if isinstance(value, tuple):
        return f"[{', '.join([json_text(each) for each in value])}]"
    return encode_basestring(value) if isinstance(value, str) else json.dumps(value)


def table_text(pieces: Iterable[str | TextColumn], count: int) -> str:
    """Return so many rows as one text: in each its piece of every column; a text stands in all.

    Texts are put to those of the column beside that has fewer; then one join over all pieces takes a
    third of the time that one join a row does.
    """
    columns: list[TextColumn] = []
    between = ""
    for piece in pieces:
        if isinstance(piece, str):
            between += piece
            continue
        if columns and len(columns[-1].different) < len(piece.different):
            columns[-1] = _within("", columns[-1], between)
            between = ""
        columns.append(_within(between, piece, ""))
        between = ""
    columns[-1] = _within("", columns[-1], between)
    every = len(columns)
    flat = [""] * (every * count)
    for at, column in enumerate(columns):
        flat[at::every] = column.rows()
    return "".join(flat)


def _within(before: str, column: TextColumn, after: str) -> TextColumn:
    if not before and not after:
        return column
    return TextColumn([f"{before}{text}{after}" for text in column.different], column.which)
