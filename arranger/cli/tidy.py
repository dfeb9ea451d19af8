"""``arranger tidy``: a roughly typed sheet gets its columns."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.terminal import say


def tidy(
    sheets: Annotated[list[Path], typer.Argument(help="Sheets, NAME.duet.", metavar="SHEET")],
    only_look: Annotated[
        bool, typer.Option("--check", help="Write nothing; exit code 1 if a sheet isn't tidy.")
    ] = False,
    fold: Annotated[
        bool | None,
        typer.Option(
            "--fold/--unfold",
            help="Write bars that repeat others as those (bars 9-16 as 1-8), or write every bar out.",
        ),
    ] = None,
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

    What the sheet plays and its comments stay as they are; doing it twice changes nothing. Bars whose
    numbers don't rise are numbered anew. The version before is kept as NAME.duet~.

    \b
    Examples:
      arranger tidy song.duet
      arranger tidy --check *.duet
      arranger tidy --fold song.duet
      arranger tidy song.duet -o - | diff song.duet -
    """
    from arranger.sheet.tidy import tidy_file

    if output is not None:
        if len(sheets) != 1 or only_look:
            raise typer.BadParameter("-o is for one sheet, without --check")
        _tidy_elsewhere(sheets[0], output, fold=fold)
        return
    untidy = 0
    for sheet in sheets:
        told = tidy_file(sheet, write=not only_look, fold=fold)
        untidy += told is not None
        if only_look:
            say(f"{sheet}: {'tidy' if told is None else 'not tidy'}")
        else:
            say(f"{sheet}: {'was tidy' if told is None else _said(told)}")
    if only_look and untidy:
        raise typer.Exit(1)


def _said(told: tuple[str, ...]) -> str:
    return "; ".join(("aligned", *told))


def _tidy_elsewhere(sheet: Path, output: Path, *, fold: bool | None) -> None:
    from arranger.files import is_stdout, shown_target
    from arranger.sheet import read_sheet, write_sheet
    from arranger.sheet.keep import refuse_sources
    from arranger.sheet.tidy import tidied

    content, told = tidied(read_sheet(sheet), fold=fold)
    refuse_sources(output, sheet, content)
    write_sheet(content, output, by="tidy")
    say(f"{shown_target(output)}: {_said(told)}", error=is_stdout(output))
