"""``arranger spread``: an edit made once reaches all bars that were alike."""

from __future__ import annotations

from typing import Annotated

import typer

from arranger.cli.keeping import Elsewhere, OnlyLook, TheSheet, write_edited
from arranger.cli.terminal import say

_NAMES = {"voice1": "voice 1", "voice2": "voice 2", "drums": "drums"}


def spread(
    sheet: TheSheet,
    row: Annotated[
        str | None,
        typer.Option(
            "--row",
            metavar="ROW",
            help="Only voice1, voice2 or drums, to all bars in which that row was alike.",
        ),
    ] = None,
    only_look: OnlyLook = False,
    output: Elsewhere = None,
) -> None:
    """Bring each edit to the other bars that were generated like the edited one.

    A refrain comes several times; edit it once. Voices and drums go each for itself: only a row that
    you edited reaches the other bars. Bars that were alike and that you edited in different ways
    stay as they are. The version before is kept as NAME.duet~.

    \b
    Examples:
      arranger spread song.duet
      arranger spread --check song.duet
      arranger spread song.duet --row drums
    """
    from arranger.errors import ArrangerError
    from arranger.sheet import read_sheet
    from arranger.sheet.merging.spread import ROWS, spread_edits
    from arranger.sheet.record.against import bar_names

    if row not in (None, *ROWS):
        raise typer.BadParameter(f"{row!r} is none of {', '.join(ROWS)}", param_hint="--row")
    before = read_sheet(sheet)
    try:
        found = spread_edits(before, row)
    except ArrangerError as error:
        raise error.in_file(sheet) from error
    aside = write_edited(sheet, before, found.sheet, output, by="spread", only_look=only_look)
    numbers = bar_names(before)
    for source, targets, name in found.copied:
        told = ", ".join(numbers[bar] for bar in targets)
        went = "would go" if only_look else "went"
        say(f"bar {numbers[source]}, {_NAMES[name]}: {went} to {told}", error=aside)
    for bars, name in found.differing:
        told = ", ".join(numbers[bar] for bar in bars)
        what = "were alike, edited in different ways, left as they are"
        say(f"bars {told}, {_NAMES[name]}: {what}", error=aside)
    if not found.copied:
        say(f"{sheet}: no edit to spread", error=aside)
