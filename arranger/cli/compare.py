"""``arranger compare``: the bars in which two sheets differ, side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.terminal import harmless, say_json, say_text


def compare(
    before: Annotated[Path, typer.Argument(help="A sheet.", metavar="A")],
    after: Annotated[Path, typer.Argument(help="Another one.", metavar="B")],
    json: Annotated[
        bool, typer.Option("--json", help="Print the differences as JSON, for scripts.")
    ] = False,
) -> None:
    """Show the bars in which two sheets differ, side by side.

    If a ledger (NAME.ledger.json) lies beside one of them, it also tells which notes of the song
    sheet B brings back, and which it loses.

    \b
    Examples:
      arranger compare song.duet~ song.duet
      arranger compare first/song.duet second/song.duet --json
    """  # noqa: D301 - the escape is click's mark for lines kept as they are
    from arranger.sheet.compare import compare_files
    from arranger.sheet.side_by_side import as_json, side_by_side

    found = compare_files(before, after)
    if json:
        say_json(as_json(found))
    else:
        say_text(side_by_side(found, harmless(str(before)), harmless(str(after))))
