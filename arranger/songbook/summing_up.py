"""What the terminal says after a songbook: counters and wording, apart from the work."""

from __future__ import annotations

import json
from collections import Counter
from typing import TYPE_CHECKING

from arranger.errors import one_line
from arranger.files import STDOUT
from arranger.songbook.advice import advice_of
from arranger.songbook.known.song_record import REASON_CODES
from arranger.songbook.planned.why_told import why_counts, why_lines
from arranger.songbook.shown.overview import same_notes
from arranger.songbook.shown.worklist import by_need, table_lines

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from arranger.songbook.advice import Suggested
    from arranger.songbook.book import BookResult
    from arranger.songbook.known.song_record import SongRecord

MOST_SONGS = 10
"""Songs in the table."""
MOST_LINES = 20
"""Songs named one by one in each list; the rest is in songbook.csv."""


def result_text(result: BookResult, width: int = 80) -> str:
    """Return the summary for a person, without a final line feed."""
    return "\n".join(_lines(result, width))


def result_json(result: BookResult) -> str:
    """Return the summary for a script, as one JSON object."""
    return json.dumps(
        {
            "songs": len(result.records),
            "converted": result.converted,
            "unchanged": result.unchanged,
            "worst": [record.relative for record in by_need(result.records)[:MOST_LINES]],
            "failed": _failures(result.failed),
            "same_notes": same_notes(result.records),
            "notes": _notes(result),
            "why": why_counts(record.why for record in result.records),
            "remarks": list(result.remarks),
            "files": [str(path) for path in result.files],
        }
    )


def advice_text(found: Suggested) -> str:
    """Return what was advised, for a person; nothing if that itself went to standard output."""
    if found.path == STDOUT:
        return ""
    lines = [f"{len(found.records)} songs: {found.advised} have advice, {len(found.failed)} failed"]
    lines += _listed("failed:", [f"{record.relative}: {record.message}" for record in found.failed])
    lines.append(f"wrote {found.path}")
    if found.path.absolute() != found.read.absolute():
        lines.append(f"to have it read, move it to {found.read}")
    return "\n".join(lines)


def advice_json(found: Suggested) -> str:
    """Return what was advised, for a script, as one JSON object."""
    return json.dumps(
        {
            "songs": len(found.records),
            "advice": {
                record.relative: [{"options": options, "gives": gives} for options, gives in advice]
                for record in found.records
                if (advice := advice_of(record))
            },
            "failed": _failures(found.failed),
            "file": str(found.path),
        }
    )


def _failures(records: Iterable[SongRecord]) -> list[dict[str, str]]:
    return [
        {"song": record.relative, "reason": record.reason, "message": record.message}
        for record in records
    ]


def _notes(result: BookResult) -> dict[str, int]:
    outcomes = ("kept", "changed", "merged", "dropped")
    return {
        outcome: sum(getattr(record, outcome) for record in result.records) for outcome in outcomes
    }


def _lines(result: BookResult, width: int) -> Iterator[str]:
    yield (
        f"{len(result.records)} songs: {result.converted} converted, {result.unchanged} unchanged, "
        f"{len(result.failed)} failed"
    )
    counted = _notes(result)
    whole = sum(counted.values())
    if whole:
        shares = ", ".join(
            f"{count} {outcome} ({count / whole:.0%})" for outcome, count in counted.items()
        )
        yield f"{whole} notes: {shares}"
    yield from why_lines((record.relative, record.why) for record in result.records)
    for remark in result.remarks:
        yield one_line(remark)
    edited = [record.relative for record in result.records if record.state == "kept-edit"]
    yield from _listed("sheets edited by hand and left alone:", edited)
    twins = same_notes(result.records).items()
    yield from _listed("songs with the same notes:", [f"{a} is {b} again" for a, b in twins])
    told = [
        f"{record.relative}: {record.message}"
        for record in result.records
        if record.message and record.state != "failed"
    ]
    yield from _listed("remarks on songs:", told)
    if result.failed:
        codes = Counter(record.reason for record in result.failed)
        yield "failed:"
        for code, count in codes.most_common():
            yield f"  {count:>5} {code}: {REASON_CODES[code]}"
        yield from _listed(
            None, [f"{record.relative}: {record.message}" for record in result.failed]
        )
    yield from _worst(result.records, width)
    for path in result.files:
        yield f"wrote {path}"


def _worst(records: Sequence[SongRecord], width: int) -> Iterator[str]:
    """Yield the table of the songs that need a hand first, those that failed left out."""
    there = [record for record in by_need(records) if record.state != "failed"]
    if not there:
        return
    yield ""
    yield "Songs that need a hand first; lost and heard in per cent:"
    yield from table_lines(there[:MOST_SONGS], width)
    if len(there) > MOST_SONGS:
        yield f"and {len(there) - MOST_SONGS} more in songbook.html and songbook.csv"
    yield ""


def _listed(title: str | None, items: list[str]) -> Iterator[str]:
    if items and title is not None:
        yield title
    for item in items[:MOST_LINES]:
        yield f"  {one_line(item)}"
    if len(items) > MOST_LINES:
        yield f"  and {len(items) - MOST_LINES} more in songbook.csv"
