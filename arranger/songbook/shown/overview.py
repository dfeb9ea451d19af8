"""The songbook's own files: all songs on one table, as CSV, as JSON and as a page."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING

from arranger.errors import one_line
from arranger.files import write_bytes
from arranger.report.ledger.as_csv import unformulated
from arranger.songbook.shown.worklist import COLUMNS as WORKLIST
from arranger.songbook.shown.worklist import FIELDS, by_need

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from arranger.songbook.known.song_record import SongRecord
    from arranger.songbook.progress import Progress

FORMAT = "arranger-songbook"
VERSION = 2

_FIRST = (
    "song", "state", "reason", "message", "title", "engine", "step", "asked_bpm", "played_bpm",
    "bars", "steps", "notes", "kept", "changed", "merged", "dropped", "tune", "bass",
    "same_notes_as", "sheet",
)  # fmt: skip
_NEXT = tuple(name for column in WORKLIST for name in column.fields if name not in _FIRST)
COLUMNS = (*_FIRST, "rank", *_NEXT, "why", "why_told")
"""Of songbook.csv, in this order in every version; new ones are added at the end."""


def same_notes(records: Sequence[SongRecord]) -> dict[str, str]:
    """Return, for each song whose notes an earlier song has too, that earlier song's path."""
    first: dict[str, str] = {}
    twins: dict[str, str] = {}
    for record in records:
        if record.notes:
            original = first.setdefault(record.notes_digest, record.relative)
            if original != record.relative:
                twins[record.relative] = original
    return twins


def write_overview(
    records: Sequence[SongRecord],
    out: Path,
    running: Progress | None = None,
    *,
    again: bool = False,
) -> tuple[Path, ...]:
    """Write songbook.csv, songbook.json and songbook.html; return their paths.

    ``records``: by relative path; while a run goes on those of songs that have files or failed.
    ``running``: how far the run has come; None at its end.
    ``again``: whether what stands there is of this run too, so that nothing of it is kept.

    Raises `OutputError` if one can't be written.
    """
    from arranger.songbook.shown.book_page import book_page

    twins = same_notes(records)
    paths = tuple(out / f"songbook.{suffix}" for suffix in ("csv", "json", "html"))
    contents = (
        _csv(records, twins),
        _json(records, twins, running),
        book_page(records, twins, running).encode("utf-8", "backslashreplace"),
    )
    for path, content in zip(paths, contents, strict=True):
        write_bytes(path, content, beside=path if again else None)
    return paths


def _ranks(records: Sequence[SongRecord]) -> dict[str, int]:
    return {record.relative: rank for rank, record in enumerate(by_need(records), 1)}


def _csv(records: Sequence[SongRecord], twins: dict[str, str]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    ranks = _ranks(records)
    for record in records:
        row: dict[str, object] = record.values()
        row |= {name: FIELDS[name](record) for name in _NEXT}
        row["song"] = record.relative
        row["same_notes_as"] = twins.get(record.relative, "")
        row["sheet"] = f"{record.place}.duet" if record.outputs else ""
        row["rank"] = ranks[record.relative]
        row["why"] = " ".join(dict.fromkeys(code for code, _ in record.why))
        row["why_told"] = "; ".join(sentence for _, sentence in record.why)
        writer.writerow([_cell(row[column]) for column in COLUMNS])
    return text.getvalue().encode()


def _cell(value: object) -> object:
    return unformulated(one_line(value)) if isinstance(value, str) else value


def _json(records: Sequence[SongRecord], twins: dict[str, str], running: Progress | None) -> bytes:
    ranks = _ranks(records)
    songs = [
        json.dumps(
            {
                **record.values(),
                "same_notes_as": twins.get(record.relative),
                "rank": ranks[record.relative],
            }
        )
        for record in records
    ]
    head = json.dumps({"format": FORMAT, "version": VERSION, **_told(running)})
    whole = f'{head[:-1]}, "songs": [\n' + ",\n".join(songs) + "\n]}\n"
    return whole.encode()


def _told(running: Progress | None) -> dict[str, object]:
    if running is None:
        return {}
    return {"run": {"done": running.done, "songs": running.songs, "stopped": running.stopped}}
