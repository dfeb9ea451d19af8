"""``arranger tidy``: a roughly typed sheet gets its columns."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.terminal import say


def tidy(
    sheets: Annotated[list[Path], typer.Argument(help="Sheets, NAME.duet.", metavar="SHEET")],
    only_look: Annotated[
        bool,
        typer.Option("--check", help="Write nothing; exit code 1 if a sheet isn't tidy."),
    ] = False,
) -> None:
    """Align the columns of a sheet, and write pitches and bar numbers in one way.

    What the sheet plays and its comments stay as they are; doing it twice changes nothing. The
    version before is kept as NAME.duet~.

    \b
    Examples:
      arranger tidy song.duet
      arranger tidy --check *.duet
    """  # noqa: D301 - the escape is click's mark for lines kept as they are
    from arranger.sheet.tidy import tidy_file

    untidy = 0
    for sheet in sheets:
        changed = tidy_file(sheet, write=not only_look)
        untidy += changed
        if only_look:
            say(f"{sheet}: {'not tidy' if changed else 'tidy'}")
        else:
            say(f"{sheet}: {'aligned' if changed else 'was tidy'}")
    if only_look and untidy:
        raise typer.Exit(1)
