"""``arranger review``: a sheet or a folder of them on a live page, where it can be edited."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.terminal import say


def review(
    sheet: Annotated[
        Path, typer.Argument(help="The sheet, NAME.duet, or a folder of sheets.", metavar="SHEET")
    ],
    song: Annotated[
        Path | None,
        typer.Option(
            "--song",
            metavar="FILE",
            help="The song it was made from, or a folder to look in. Default: beside the sheet, "
            "the folder above, or this one.",
        ),
    ] = None,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Open no browser, only print the address.")
    ] = False,
) -> None:
    """Show a sheet beside its song on a live page, hear it, and edit it there or in any editor.

    The page follows the file: what you save is seen and heard at once, with what check has to say.
    What you change on the page is written into the file; arranger undo takes it back. Only this
    machine can reach the page, and only by the address that is printed. Ctrl-C ends.

    \b
    Examples:
      arranger review out/parade.duet
      arranger review out/parade.duet --song songs/parade.mid
      arranger review out --song songs --no-browser
    """
    from arranger.review.answers import Answers, sheets_in
    from arranger.review.live import Live
    from arranger.review.server import Server
    from arranger.sheet import read_sheet

    if sheet.is_dir():
        answers = Answers([Live(each, song) for each in sheets_in(sheet)], folder=sheet)
    else:
        read_sheet(sheet)
        live = Live(sheet, song)
        answers = Answers([live])
    try:
        with Server(answers) as server:
            address = server.address(None if sheet.is_dir() else 0)
            say(f"reviewing {sheet}, Ctrl-C ends")
            say(address)
            if not no_browser:
                _open(address)
            with suppress(KeyboardInterrupt):
                server.serve_forever(poll_interval=0.1)
    finally:
        answers.close()


def _open(address: str) -> None:
    import webbrowser

    if not webbrowser.open(address):
        say("no browser was found: open the address in one")
