"""``NAME.ledger.json``: every note, each exactly once, for other programs to read.

The format is published as a JSON Schema, ``ledger.schema.json`` in this package. One line a note,
so that two ledgers can be compared line by line. Departures from plain ``json.dumps`` of records:
the notes are written by one format string, which takes a third of the time.
"""

from __future__ import annotations

import json
from importlib.resources import files
from json.encoder import encode_basestring as quoted
from typing import TYPE_CHECKING, Any

from arranger.options import command_line
from arranger.report.account import account

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.pipeline import Conversion
    from arranger.reduce.ledger import Entry
    from arranger.song.model import Note

FORMAT = "arranger-ledger"
VERSION = 1

_NOTE = (
    '{"id":%d,"track":%d,"part":%d,"channel":%d,"onset_tick":%d,"duration_tick":%d,'
    '"onset_seconds":%r,"pitch":%d,"velocity":%d,"drum":%s,"bar":%d,"beat":%r,'
    '"outcome":"%s","reasons":%s,"voice":%s,"step":%s,"steps":%s,"pitch_out":%s,"sound":%s,'
    '"spans":%s,"by":%s,"explanation":%s}'
)


def ledger_json(conversion: Conversion) -> bytes:
    """Return the ledger as UTF-8 JSON, one line a note."""
    found = account(conversion)
    head = json.dumps(_head(conversion), ensure_ascii=False, indent=1)
    notes = ",\n".join(map(_NOTE.__mod__, _rows(conversion)))
    tail = json.dumps({**found.totals(), "reasons": found.reasons()})
    return f'{head[:-2]},\n "notes": [\n{notes}\n],\n "totals": {tail}\n}}\n'.encode()


def schema() -> dict[str, Any]:
    """Return the published JSON Schema of the ledger."""
    text = files("arranger.report").joinpath("ledger.schema.json").read_text(encoding="utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def _head(conversion: Conversion) -> dict[str, Any]:
    grid = conversion.grid
    described: dict[str, Any] = {
        "step_beats": str(grid.step_beats),
        "step_seconds": grid.step_length.seconds,
        "first_tick": grid.first_tick,
        "steps": grid.steps,
        "basis": grid.basis,
        "asked_bpm": grid.asked_bpm,
        "played_bpm": grid.played_bpm,
    }
    if grid.basis == "tracked":
        described["beats_seconds"] = [round(seconds, 6) for seconds in grid.beats_seconds]
    return {
        "format": FORMAT,
        "version": VERSION,
        "source": _source(conversion),
        "engine": conversion.engine.name,
        "settings": command_line(conversion.settings),
        "grid": described,
        "transpose": conversion.reduction.ledger.transpose,
    }


def _source(conversion: Conversion) -> dict[str, Any]:
    song = conversion.song
    parts: dict[int, list[dict[str, Any]]] = {}
    for part, role in zip(song.parts, conversion.reduction.roles, strict=True):
        parts.setdefault(part.track, []).append(
            {
                "part": part.index + 1,
                "channel": part.channel,
                "program": part.program,
                "name": part.name,
                "drum": part.drum,
                "role": role.role,
                "notes": part.notes,
            }
        )
    tracks = [
        {"index": t.index, "name": t.name, "notes": t.notes, "parts": parts.get(t.index, [])}
        for t in song.tracks
    ]
    return {
        "file": song.file,
        "title": song.title,
        "sha256": song.sha256,
        "ticks_per_beat": song.ticks_per_beat,
        "notes": len(song.notes),
        "tracks": tracks,
    }


def _rows(conversion: Conversion) -> Iterator[tuple[Any, ...]]:
    """Yield the values of `_NOTE` for each note."""
    found = account(conversion)
    reasons: dict[tuple[str, ...], str] = {}
    for note, entry, seconds, bar, beat, told in zip(
        found.notes,
        found.entries,
        found.onset_seconds,
        found.bar,
        found.beat,
        found.explanation,
        strict=True,
    ):
        listed = reasons.get(entry.reasons)
        if listed is None:
            listed = reasons[entry.reasons] = json.dumps(entry.reasons)
        yield (
            *_asked(note, seconds, bar, beat),
            entry.outcome,
            listed,
            *_heard(entry),
            quoted(told),
        )


def _asked(note: Note, seconds: float, bar: int, beat: float) -> tuple[Any, ...]:
    return (
        note.id,
        note.track,
        note.part + 1,
        note.channel,
        note.onset,
        note.duration,
        seconds,
        note.pitch,
        note.velocity,
        "true" if note.drum else "false",
        bar,
        beat,
    )


def _heard(entry: Entry) -> tuple[Any, ...]:
    """Return voice, step, steps, pitch_out, sound, spans and by, as JSON text."""
    by = str(list(entry.by)) if entry.by else "[]"
    pitch = "null" if entry.pitch_out is None else entry.pitch_out
    sound = "null" if entry.sound is None else quoted(entry.sound)
    if not entry.spans:
        return "null", "null", "null", pitch, sound, "[]", by
    voice, step, steps = entry.spans[0]
    spans = ",".join([f"[{v},{first},{length}]" for v, first, length in entry.spans])
    return voice or "null", step, steps, pitch, sound, f"[{spans}]", by
