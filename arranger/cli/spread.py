"""``arranger spread``: an edit made once reaches all bars that were alike."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.terminal import say


def spread(
    sheet: Annotated[Path, typer.Argument(help="The sheet, NAME.duet.", metavar="SHEET")],
    only_look: Annotated[
        bool, typer.Option("--check", help="Write nothing; only tell what would be done.")
    ] = False,
) -> None:
    """Bring each edit to the other bars that were generated like the edited one.

    A refrain comes several times; edit it once. Bars that were alike and that you edited in
    different ways stay as they are. The version before is kept as NAME.duet~.

    \b
    Examples:
      arranger spread song.duet
      arranger spread --check song.duet
    """  # noqa: D301 - the escape is click's mark for lines kept as they are
    from arranger.errors import ArrangerError
    from arranger.sheet import read_sheet
    from arranger.sheet.keep import overwrite
    from arranger.sheet.spread import spread_edits

    before = read_sheet(sheet)
    try:
        found = spread_edits(before)
    except ArrangerError as error:
        raise error.in_file(sheet) from error
    if found.copied and not only_look:
        overwrite(sheet, found.sheet)
    numbers = [bar.number for bar in before.bars]
    for source, targets in found.copied:
        told = ", ".join(str(numbers[bar]) for bar in targets)
        say(f"bar {numbers[source]}: {'would go' if only_look else 'went'} to {told}")
    for bars in found.differing:
        told = ", ".join(str(numbers[bar]) for bar in bars)
        say(f"bars {told}: were alike, edited in different ways, left as they are")
    if not found.copied:
        say(f"{sheet}: no edit to spread")
