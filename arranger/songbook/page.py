"""The page of a songbook: all songs ranked by what was kept, failures with their reason."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from arranger.errors import one_line
from arranger.report.build import Script, asset, embedded, rendered
from arranger.version import VERSION

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from arranger.songbook.progress import Progress
    from arranger.songbook.record import Record

SCRIPTS = ("dom.js", "running.js", "book.js")
PAGE_SUFFIX = ".report.html"


def book_page(
    records: Sequence[Record], twins: Mapping[str, str], running: Progress | None = None
) -> str:
    """Return the page of a songbook as one HTML document.

    Parameters
    ----------
    records
        One a song, converted or failed.
    twins
        For a song whose notes an earlier song has too, that song's path; both relative.
    running
        How far the run has come, while it goes on; None at its end.
    """
    done = [record for record in records if record.state != "failed"]
    script = Script.of(SCRIPTS)
    return rendered(
        "book.html",
        data=embedded(
            json.dumps([_song(record, twins) for record in done if record.notes], allow_nan=False)
        ),
        style=asset("style.css"),
        script=script.text,
        script_digest=script.digest,
        done=len(done),
        kept_edits=sum(record.state == "kept-edit" for record in done),
        failures=[record for record in records if record.state == "failed"],
        notes=sum(record.notes for record in done),
        kept=sum(record.kept for record in done),
        heard=sum(record.notes - record.dropped for record in done),
        version=VERSION,
        **_running(running),
    )


def _running(running: Progress | None) -> dict[str, Any]:
    """Return what the page says of a run that goes on, or was stopped."""
    if running is None:
        return {"running": None}
    return {
        "running": running,
        "written": round(1000 * time.time()),
        "again": running.again_seconds,
    }


def _song(record: Record, twins: Mapping[str, str]) -> dict[str, Any]:
    """Return what the page's script shows of a song."""
    twin = twins.get(record.relative)
    remarks = [
        "sheet edited by hand, left alone" if record.state == "kept-edit" else "",
        f"same notes as {one_line(twin)}" if twin else "",
    ]
    has_page = any(name.endswith(PAGE_SUFFIX) for name in record.outputs)
    return {
        "title": one_line(record.title or record.relative),
        "file": one_line(record.relative),
        # Quoted whole, so that a file's name can't become another scheme or leave the folder.
        "link": f"./{quote(record.place + PAGE_SUFFIX)}" if has_page else "",
        "remark": "; ".join(filter(None, remarks)),
        "counts": [record.kept, record.changed, record.merged, record.dropped],
        "notes": record.notes,
        "tempo": record.played_bpm,
        "tune": one_line(record.tune),
        "bass": one_line(record.bass),
        "strip": [],
    }
