"""The account's columns as JSON text, each value written once.

Ledger, table and page all write the same values. Most columns have few different ones (pitches,
bars, velocities), so a value is turned into text once and then looked up.
"""

from __future__ import annotations

import json
from json.encoder import encode_basestring
from typing import TYPE_CHECKING, Any

from arranger.report.account_columns import account_of, sentences_of
from arranger.report.remember import remembered

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from arranger.conversion import Conversion
    from arranger.reduce.ledger import Span

    Texts = Sequence[str]


MOST_TOGETHER = 10_000
"""Notes whose texts are in memory at once."""


def stretches(conversion: Conversion) -> Iterator[tuple[range, Mapping[str, Texts]]]:
    """Yield notes, so many at a time, with the columns of the ledger for them as JSON text.

    Columns are in the ledger's order and names. Most songs are one stretch, which is remembered.
    """
    count = len(conversion.song.notes)
    for first in range(0, count, MOST_TOGETHER):
        notes = range(first, min(first + MOST_TOGETHER, count))
        yield notes, _texts(conversion, notes)


@remembered
def _texts(conversion: Conversion, notes: range) -> Mapping[str, Texts]:
    found = account_of(conversion)
    these = slice(notes.start, notes.stop)
    note = {name: column[these] for name, column in found.note.items()}
    entry = {name: column[these] for name, column in found.entry.items()}
    voice, step, steps = zip(*found.first_span[these], strict=True)
    return {
        "id": _numbers(note["id"]),
        "track": written(note["track"]),
        "part": written([part + 1 for part in note["part"]]),
        "channel": written(note["channel"]),
        "onset_tick": _numbers(note["onset"]),
        "duration_tick": written(note["duration"]),
        "onset_seconds": _numbers(found.onset_seconds[these]),
        "pitch": written(note["pitch"]),
        "velocity": written(note["velocity"]),
        "drum": written(note["drum"]),
        "bar": written(found.bar[these]),
        "beat": written(found.beat[these]),
        "outcome": written(entry["outcome"]),
        "reasons": written(entry["reasons"]),
        "voice": written([each or None for each in voice]),
        "step": written(step),
        "steps": written(steps),
        "pitch_out": written(entry["pitch_out"]),
        "sound": written(entry["sound"]),
        "late_seconds": _rounded(entry["late_seconds"]),
        "spans": list(map(_spans, entry["spans"])),
        "by": _lists(entry["by"]),
        "explanation": list(map(encode_basestring, sentences_of(conversion, notes))),
        "song_bar": written(found.song_bar[these]),
    }


def written(values: Sequence[Any]) -> Texts:
    """Return values of one kind as JSON text."""
    table = {value: _text(value) for value in set(values)}
    return list(map(table.__getitem__, values))


def _numbers(values: Sequence[float]) -> Texts:
    """Return numbers of which most are different."""
    return list(map(repr, values))


def _rounded(values: Sequence[float]) -> Texts:
    """Return numbers of which few are different, to the sixth digit after the point."""
    table = {value: repr(round(value, 6)) for value in set(values)}
    return list(map(table.__getitem__, values))


def _lists(values: Sequence[tuple[int, ...]]) -> Texts:
    """Return tuples of numbers."""
    table = {value: str([*value]) for value in set(values)}
    return list(map(table.__getitem__, values))


def _text(value: Any) -> str:
    """Return a value as JSON text; `json.dumps` sets up an encoder each time, which takes longer."""
    if type(value) in (int, float):
        return repr(value)
    if isinstance(value, tuple):
        return f"[{', '.join([_text(each) for each in value])}]"
    return encode_basestring(value) if isinstance(value, str) else json.dumps(value)


def array(texts: Iterable[str]) -> str:
    """Return a JSON array of values that are text already."""
    return f"[{','.join(texts)}]"


def rows(pieces: Sequence[str | Texts], count: int) -> str:
    """Return so many rows as one text: in each its piece of every column; a text stands in all.

    One join over all pieces takes a third of the time that one join a row does.
    """
    every = len(pieces)
    flat = [""] * (every * count)
    for at, piece in enumerate(pieces):
        flat[at::every] = [piece] * count if isinstance(piece, str) else piece
    return "".join(flat)


def _spans(spans: Sequence[Span]) -> str:
    if len(spans) == 1:
        voice, step, steps = spans[0]
        return f"[[{voice},{step},{steps}]]"
    return array([f"[{voice},{step},{steps}]" for voice, step, steps in spans])
