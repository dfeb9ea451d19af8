"""``arranger report``: ask a ledger what became of which notes."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.terminal import say, say_text


def report(
    ledger: Annotated[
        Path,
        typer.Argument(metavar="NAME.ledger.json", help="As convert wrote it.", show_default=False),
    ],
    bars: Annotated[
        str | None, typer.Option(metavar="FIRST-LAST", help="Only notes of these bars.")
    ] = None,
    outcome: Annotated[
        list[str] | None,
        typer.Option(help="kept, changed, merged or dropped; may be given again."),
    ] = None,
    reason: Annotated[
        list[str] | None,
        typer.Option(help="Such as voices-full or under-drum; may be given again."),
    ] = None,
    part: Annotated[
        list[str] | None,
        typer.Option(help="A part's number, or a piece of its name; may be given again."),
    ] = None,
    json: Annotated[
        bool, typer.Option("--json", help="Print the notes as JSON, for scripts.")
    ] = False,
) -> None:
    """Tell what became of the notes of a song: a sentence each, from its ledger.

    Without a choice of notes it tells how many met which fate and why, and where most are missing.

    \b
    Examples:
      arranger report out/parade.ledger.json
      arranger report out/parade.ledger.json --bars 9-16 --outcome dropped
      arranger report out/parade.ledger.json --reason under-drum --part trumpet --json
    """  # noqa: D301 - the escape is click's mark for lines kept as they are
    from arranger.bars import parse_bars
    from arranger.report.query import Query, answer, answer_json, read_ledger

    query = Query(
        bars=None if bars is None else parse_bars(bars),
        outcomes=tuple(outcome or ()),
        reasons=tuple(reason or ()),
        parts=tuple(part or ()),
    )
    found = read_ledger(ledger)
    if json:
        say_text(answer_json(found, query))
        return
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else 80
    for line in answer(found, query, max(width, 40)):
        say(line)
