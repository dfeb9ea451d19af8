"""The account's columns as JSON text, each value written once.

Ledger, table and page all write the same values. Most columns have few different ones (pitches,
bars, velocities), so a value is turned into text once and then looked up; a line is a join. Writing
a ledger so takes a third of the time of formatting each line.
"""

from __future__ import annotations

import json
from functools import lru_cache
from json.encoder import encode_basestring
from typing import TYPE_CHECKING, Any

from arranger.report.account import account

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from arranger.pipeline import Conversion
    from arranger.reduce.ledger import Span

    Texts = Sequence[str]


@lru_cache(maxsize=1)
def text_columns(conversion: Conversion) -> Mapping[str, Texts]:
    """Return the columns of the ledger's notes as JSON text, in the ledger's order and names.

    The last conversion's are remembered.
    """
    found = account(conversion)
    note, entry = found.note, found.entry
    voice, step, steps = zip(*found.first_span, strict=True) if found.first_span else ((), (), ())
    return {
        "id": [str(number) for number in note["id"]],
        "track": written(note["track"]),
        "part": written([part + 1 for part in note["part"]]),
        "channel": written(note["channel"]),
        "onset_tick": written(note["onset"]),
        "duration_tick": written(note["duration"]),
        "onset_seconds": written(found.onset_seconds),
        "pitch": written(note["pitch"]),
        "velocity": written(note["velocity"]),
        "drum": written(note["drum"]),
        "bar": written(found.bar),
        "beat": written(found.beat),
        "outcome": written(entry["outcome"]),
        "reasons": written(entry["reasons"]),
        "voice": written([each or None for each in voice]),
        "step": written(step),
        "steps": written(steps),
        "pitch_out": written(entry["pitch_out"]),
        "sound": written(entry["sound"]),
        "spans": [_spans(each) for each in entry["spans"]],
        "by": written(entry["by"]),
        "explanation": list(map(encode_basestring, found.explanation)),
    }


def written(values: Sequence[Any]) -> Texts:
    """Return values of one kind as JSON text."""
    table = {value: _text(value) for value in set(values)}
    return list(map(table.__getitem__, values))


def _text(value: Any) -> str:
    """Return a value as JSON text; `json.dumps` sets up an encoder each time, which takes longer."""
    if type(value) is int or type(value) is float:
        return repr(value)
    if isinstance(value, tuple):
        return f"[{', '.join([_text(each) for each in value])}]"
    return encode_basestring(value) if isinstance(value, str) else json.dumps(value)


def array(texts: Iterable[str]) -> str:
    """Return a JSON array of values that are text already."""
    return f"[{','.join(texts)}]"


def _spans(spans: Sequence[Span]) -> str:
    if len(spans) == 1:
        return "[[{},{},{}]]".format(*spans[0])
    return array(["[{},{},{}]".format(*span) for span in spans])
