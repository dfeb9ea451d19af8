"""The page of one song: self-contained HTML that opens from disk and needs no network.

The notes are columns of JSON, and the page's own program draws them; both are packed, and a short
script unpacks them. The template holds what stands still. What comes from a file is escaped in the
markup by jinja2; packed, it can't be taken for any. A content security policy allows these very
scripts and nothing else, so that even a slip there would stay without effect.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.report.pages.build import Script, asset, embedded, packed, packed_script, rendered
from arranger.report.pages.facts import gather_facts
from arranger.report.pages.page_data import page_data

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.conversion import Conversion
    from arranger.report.summaries.command import CommandRun
    from arranger.report.summaries.suggest import Suggestion

BOOT = "boot.js"

SCRIPTS = (
    "dom.js", "keys.js", "data.js", "state.js", "theme.js", "shapes.js", "rows.js", "view.js",
    "cells.js", "frame.js", "roll.js", "travel.js", "choosing.js", "overview.js", "about.js",
    "head.js", "pair.js", "mend.js", "list.js", "routine.js", "sheet_sound.js", "song_sound.js",
    "mixer.js", "player.js", "listening.js", "book_links.js", "address.js", "print.js",
    "sheet_lines.js", "embedded.js", "main.js",
)  # fmt: skip
"""In the order in which they build on each other."""

LIVE_SCRIPTS = (*SCRIPTS, "live.js", "edit.js")
"""Those of a page that is served live, where the sheet can be edited."""

_HERE = "<the data>"
"""Stands for the data in the frame: what a file says can't look so, since it is escaped."""


class BookPlace(NamedTuple):
    """Where the page of a songbook is that leads to a song's page."""

    page: str
    """Its address, seen from the song's page."""
    song: str
    """What it calls the song: the file's path below the folder of songs."""


def html_page(
    conversion: Conversion, suggestions: Sequence[Suggestion] = (), *, run: CommandRun | None = None
) -> str:
    """Return the page of a conversion as one HTML document; see `html_page_pieces`."""
    return "".join(html_page_pieces(conversion, suggestions, run=run))


def html_page_pieces(
    conversion: Conversion,
    suggestions: Sequence[Suggestion] = (),
    *,
    run: CommandRun | None = None,
    live: str = "",
    data: str | None = None,
    book: BookPlace | None = None,
) -> Iterator[str]:
    """Yield the page of a conversion piece by piece, so that a long song's isn't in memory whole.

    Parameters
    ----------
    conversion
        What was done.
    suggestions
        Other settings that were tried, with their effect; see `arranger.report.suggestions`.
    run
        How it was started, for the line that repeats it; None: with the song's name in this folder.
    live
        For a page that `arranger review` serves: the state of the sheet, as JSON.
    data
        What `page_data` yields, if that is there already.
    book
        The songbook that the song belongs to.
    """
    boot, program = Script.of((BOOT,)), Script.of(LIVE_SCRIPTS if live else SCRIPTS)
    frame = rendered(
        "song.html",
        facts=gather_facts(conversion, suggestions, run),
        data=_HERE,
        live=embedded(live),
        pair=None,
        book=book,
        style=asset("style.css") + asset("top.css"),
        script=boot.text,
        program=packed_script(program),
        digests=(boot.digest, program.digest),
    )
    head, _, tail = frame.rpartition(_HERE)
    yield head
    yield from packed(page_data(conversion) if data is None else (data,))
    yield tail
