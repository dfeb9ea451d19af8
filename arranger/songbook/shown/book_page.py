"""The page of a songbook: its worklist, which song needs a hand first.

The data are columns, packed: for each column of `arranger.songbook.shown.worklist` what its cells show, which
is also what the page sorts by, and what else it tells of a song when that is chosen. The page draws the
rows that are in sight, and plays a song by the song's own page.
"""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from arranger.errors import one_line
from arranger.report.heard.hearing import LINES
from arranger.report.pages.build import Script, asset, packed, packed_script, rendered
from arranger.report.pages.song_page import BOOT
from arranger.songbook.known.doubts import WORDS
from arranger.songbook.known.song_record import NEW
from arranger.songbook.shown.worklist import COLUMNS, by_need
from arranger.version import VERSION

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from arranger.songbook.known.song_record import SongRecord
    from arranger.songbook.progress import Progress

SCRIPTS = (
    "dom.js", "keys.js", "theme.js", "running.js", "book_songs.js", "book_strips.js",
    "book_table.js", "book_player.js", "book_chosen.js", "book.js",
)  # fmt: skip
PAGE_SUFFIX = ".report.html"
MOST_PRINTED = 1000


def book_page(
    records: Sequence[SongRecord], twins: Mapping[str, str], running: Progress | None = None
) -> str:
    """Return the page of a songbook as one HTML document.

    ``records``: one a song, converted or failed.
    ``twins``: for a song whose notes an earlier song has too, that song's path; both relative.
    ``running``: how far the run has come, while it goes on; None at its end.
    """
    boot, program = Script.of((BOOT,)), Script.of(SCRIPTS)
    return rendered(
        "book.html",
        columns=COLUMNS,
        doubts=WORDS,
        songs=len(records),
        failed=sum(record.state == "failed" for record in records),
        misfits=sum(not record.fits for record in records),
        edited=sum(record.edited for record in records),
        most_printed=MOST_PRINTED,
        version=VERSION,
        style=asset("style.css") + asset("book.css"),
        script=boot.text,
        program=packed_script(program),
        digests=(boot.digest, program.digest),
        data="".join(packed([json.dumps(book_data(records, twins), allow_nan=False)])),
        **_running(running),
    )


def book_data(records: Sequence[SongRecord], twins: Mapping[str, str]) -> dict[str, Any]:
    """Return what the page's scripts read: lists with an entry a song, in the order of records.

    ``columns`` says of each what it is called, whether the least stands first and whether its texts
    begin with numbers; ``cells`` has the texts; ``strips`` has a list a line, ``states`` a letter a song.
    """
    place = {record.relative: at for at, record in enumerate(records)}
    return {
        "columns": [[column.name, int(column.rising), int(column.number)] for column in COLUMNS],
        "cells": {column.name: [column.text(each) for each in records] for column in COLUMNS},
        "order": [place[record.relative] for record in by_need(records)],
        "files": [one_line(record.relative) for record in records],
        "states": "".join(record.state[0] for record in records),
        "links": [_link(record) for record in records],
        "strips": [
            [record.strips[line] if record.strips else "" for record in records]
            for line in range(len(LINES))
        ],
        "told": [_told(record, twins.get(record.relative)) for record in records],
    }


def _link(record: SongRecord) -> str:
    """Return the address of a song's page; nothing if it has none."""
    if not any(name.endswith(PAGE_SUFFIX) for name in record.outputs):
        return ""
    # Quoted whole, so that a file's name can't become another scheme or leave the folder.
    return f"./{quote(record.place + PAGE_SUFFIX)}"


def _told(record: SongRecord, twin: str | None) -> list[str]:
    """Return sentences on a song that are told when it is chosen."""
    if record.state == "failed":
        return [one_line(f"{record.reason}: {record.message}")]
    said = [record.message]
    if not record.fits:
        over = record.song_bytes - record.bytes_limit
        said.append(f"It takes {over:,} bytes more than the {record.bytes_limit:,} that it may.")
    said += [sentence for _, sentence in record.doubts]
    if record.edited:
        fate = "left alone" if record.state == "kept-edit" else "its edits are kept"
        said.append(f"Its sheet was edited by hand{_last(record.edited_at)}; {fate}.")
    if twin:
        said.append(f"It has the same notes as {twin}.")
    roles = [
        f"{line}: {name}" for line, name in (("tune", record.tune), ("bass", record.bass)) if name
    ]
    said.append("; ".join(roles))
    if record.change not in {"", NEW}:
        said += [f"Why again: {sentence}" for code, sentence in record.why if code != "kept-edit"]
    return [one_line(sentence) for sentence in said if sentence]


def _last(time: str) -> str:
    day, _, hour = time.partition("T")
    return f", last on {day} at {hour[:5]} UTC" if time else ""


def _running(running: Progress | None) -> dict[str, Any]:
    """Return what the page says of a run that goes on, or was stopped."""
    if running is None:
        return {"running": None}
    return {
        "running": running,
        "written": round(1000 * time.time()),
        "again": running.again_seconds,
    }
