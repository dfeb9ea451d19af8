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
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            metavar="FILE",
            help="Leave the sheet (only one) as it is and write here; - is standard output.",
        ),
    ] = None,
) -> None:
    """Align the columns of a sheet, and write pitches and bar numbers in one way.

    What the sheet plays and its comments stay as they are; doing it twice changes nothing. The
    version before is kept as NAME.duet~.

    \b
    Examples:
      arranger tidy song.duet
      arranger tidy --check *.duet
      arranger tidy song.duet -o - | diff song.duet -
    """  # noqa: D301 - the escape is click's mark for lines kept as they are
    from arranger.sheet.tidy import tidy_file

    if output is not None:
        if len(sheets) != 1 or only_look:
            raise typer.BadParameter("-o is for one sheet, without --check")
        _tidy_elsewhere(sheets[0], output)
        return
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


def _tidy_elsewhere(sheet: Path, output: Path) -> None:
    from arranger.files import is_stdout, shown_target
    from arranger.sheet import read_sheet, write_sheet
    from arranger.sheet.keep import refuse_sources

    content = read_sheet(sheet)
    refuse_sources(output, sheet, content)
    write_sheet(content, output, by="tidy")
    say(f"{shown_target(output)}: aligned", error=is_stdout(output))
