"""``NAME.ledger.json``: every note, each exactly once, for other programs to read.

The format is published as a JSON Schema, ``ledger.schema.json`` in this package. One line a note,
so that two ledgers can be compared line by line.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from arranger.options import command_line
from arranger.reduce.tell.texture_line import texture_line
from arranger.report.account_columns import account_of
from arranger.report.column_json import json_text, stretches, table_text
from arranger.report.heard.hearing import LINES
from arranger.report.heard.losses import bar_losses, beats_heard, song_heard, song_lost
from arranger.report.heard.problems import ranking

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from arranger.columns import TextColumn
    from arranger.conversion import Conversion
    from arranger.reduce.model import TexturePassage
    from arranger.report.column_json import Cell

FORMAT = "arranger-ledger"
VERSION = 1


def ledger_json(conversion: Conversion) -> bytes:
    """Return the ledger as UTF-8 JSON, one line a note."""
    return b"".join(ledger_json_pieces(conversion))


def ledger_json_pieces(conversion: Conversion) -> Iterator[bytes]:
    """Yield the ledger piece by piece, so that a long song's isn't in memory as a whole."""
    found = account_of(conversion)
    head = json.dumps(_head(conversion), ensure_ascii=False, indent=1)
    # An encoder that indents is a slow one, and a line feed stands in no text.
    head = head.replace('\n "bars": []', f'\n "bars": [{",".join(_bars(conversion))}\n ]', 1)
    yield f'{head[:-2]},\n "notes": ['.encode("utf-8", "backslashreplace")
    for notes, columns in stretches(conversion):
        lines = _lines(columns, len(notes))[not notes.start :]  # no comma before the first
        yield lines.encode("utf-8", "backslashreplace")
    heard = dict(zip(LINES, song_heard(conversion), strict=True))
    lost = song_lost(beats_heard(conversion))
    tail = json.dumps({**found.totals(), "reasons": found.reasons(), "heard": heard, "lost": lost})
    yield f'\n],\n "totals": {tail}\n}}\n'.encode()


def ledger_schema() -> dict[str, Any]:
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
        "bars": [],  # see `_bars`
        "passages": [_passage(passage, conversion) for passage in conversion.reduction.passages],
    }


def _bars(conversion: Conversion) -> Iterator[str]:
    """Yield what of each bar is heard, its place in the order of mending, and what it lacks, as JSON."""
    lacking = {
        bar.place: (rank, problem.sentence)
        for rank, problem in enumerate(ranking(conversion), 1)
        for bar in problem.bars
    }
    for bar in bar_losses(conversion):
        rank, lacks = lacking.get(bar.place, (None, ""))
        shares = zip(LINES, bar.heard, strict=True)
        heard = ",".join([f'\n    "{line}": {json_text(share)}' for line, share in shares])
        told = f'"bar": {bar.number},\n   "song_bar": {bar.song_number or bar.number}'
        ranked = f'"rank": {json_text(rank)},\n   "lacks": {json_text(lacks)}'
        yield f'\n  {{\n   {told},\n   "heard": {{{heard}\n   }},\n   {ranked}\n  }}'


def _passage(passage: TexturePassage, conversion: Conversion) -> dict[str, Any]:
    told = passage._asdict()
    for name in ("song_first_bar", "song_last_bar"):
        if told[name] is None:
            del told[name]
    return {
        **told,
        "chords": round(passage.chords, 4),
        "part": passage.part + 1 if passage.part >= 0 else None,
        "explanation": str(texture_line(passage, conversion.song.parts)),
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


def _lines(columns: Mapping[str, Cell], notes: int) -> str:
    """Return each note as JSON on a line of its own, after a comma."""
    pieces: list[str | TextColumn] = [",\n{"]
    for name, cell in columns.items():
        pieces += [f'"{name}":', *cell, ","]
    return table_text([*pieces[:-1], "}"], notes)
