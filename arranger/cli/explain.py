"""``arranger explain``: what was weighed in a bar, and what the nearest other choices cost."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.keeping import TheSheet
from arranger.cli.terminal import say_text


def explain(
    sheet: TheSheet,
    bar: Annotated[int, typer.Argument(help="Which bar of it, as numbered there.", metavar="BAR")],
    song: Annotated[
        Path | None,
        typer.Option(
            "--song", metavar="FILE", help="The song it was made from. Default: beside the sheet."
        ),
    ] = None,
    most: Annotated[
        int, typer.Option("--most", metavar="N", min=1, max=20, help="How many others to show.")
    ] = 3,
    json: Annotated[bool, typer.Option("--json", help="Print it as JSON, for scripts.")] = False,
) -> None:
    """Tell what was weighed in a bar: the choice made, the runners-up, and the difference by term.

    The song is converted again with the settings in the sheet's header; edits by hand are not looked at. Costs are in beats of the tune: leaving out a tune note of one beat costs about 1.
    A term can be weighed differently with ``arranger convert --cost TERM=N``.

    \b
    Examples:
      arranger explain out/parade.duet 9
      arranger explain out/parade.duet 9 --song songs/parade.mid --most 5
    """
    from arranger.conversion.weigh_sheet import weigh_sheet_bar
    from arranger.reduce.tell.weighing_text import weighing_json, weighing_text

    found = weigh_sheet_bar(sheet, bar, song=song, most=most)
    say_text(weighing_json(found) if json else weighing_text(found))
