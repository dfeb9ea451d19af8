"""``arranger report``: ask a ledger what became of which notes, or a sheet what it is and takes."""

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
        typer.Argument(
            metavar="NAME.ledger.json|NAME.duet",
            help="A ledger as convert wrote it, or a sheet.",
            show_default=False,
        ),
    ],
    bars: Annotated[
        str | None, typer.Option(metavar="FIRST-LAST", help="Only notes of these bars.")
    ] = None,
    outcome: Annotated[
        list[str] | None, typer.Option(help="kept, changed, merged or dropped; may be given again.")
    ] = None,
    reason: Annotated[
        list[str] | None,
        typer.Option(help="Such as voices-full or under-drum; may be given again."),
    ] = None,
    part: Annotated[
        list[str] | None,
        typer.Option(help="A part's number, or a piece of its name; may be given again."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print it as JSON, for scripts.")] = False,
) -> None:
    """Tell what became of the notes of a song: a sentence each, from its ledger.

    Without a choice of notes it tells how many met which fate and why, and where most are missing.

    Of a sheet, with or without a song behind it: its length, tempo as asked for and as played, ranges,
    tuning, drums, bytes and whether they fit, bars that repeat.

    \b
    Examples:
      arranger report out/parade.ledger.json
      arranger report out/parade.ledger.json --bars 9-16 --outcome dropped
      arranger report out/parade.ledger.json --reason under-drum --part trumpet --json
      arranger report out/parade.duet
    """
    width = max(shutil.get_terminal_size().columns if sys.stdout.isatty() else 80, 40)
    if _is_sheet(ledger):
        if bars or outcome or reason or part:
            raise typer.BadParameter(
                "notes are chosen in a ledger, NAME.ledger.json; a sheet is told of as a whole"
            )
        _tell_sheet(ledger, width, json)
        return
    from arranger.bars import parse_bars
    from arranger.report.ledger.query import Query, answer, answer_json, read_ledger

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
    for line in answer(found, query, width):
        say(line)


def _is_sheet(path: Path) -> bool:
    """Return whether a file says that it is a sheet, in its name or its first line."""
    from arranger.sheet.form.text import FORMAT

    if path.suffix == ".duet":
        return True
    try:
        with path.open("rb") as file:
            return (
                file.read(len(FORMAT) + 3).removeprefix(b"\xef\xbb\xbf").startswith(FORMAT.encode())
            )
    except OSError:
        return False


def _tell_sheet(path: Path, width: int, json: bool) -> None:
    from arranger.engine import load_engine
    from arranger.errors import ArrangerError
    from arranger.report.summaries.sheet_side import sheet_side, side_json, side_lines
    from arranger.sheet import read_sheet
    from arranger.sheet.compare import ledger_path

    sheet = read_sheet(path)
    try:
        side = sheet_side(sheet, load_engine(sheet.engine, beside=path))
    except ArrangerError as error:
        raise error.in_file(path) from None
    if json:
        say_text(side_json(side))
        return
    for line in side_lines(side, width):
        say(line)
    ledger = ledger_path(path)
    if ledger.is_file():
        say(f"  what became of the song's notes: arranger report {ledger}")
