"""``arranger redo``: what undo took back, again."""

from __future__ import annotations

from typing import Annotated

import typer

from arranger.cli.keeping import TheSheet
from arranger.cli.undo import tell


def redo(
    sheet: TheSheet,
    steps: Annotated[
        int, typer.Option("--steps", metavar="N", min=1, help="So many versions at once.")
    ] = 1,
) -> None:
    """Bring back what `arranger undo` took back, the nearest version first.

    \b
    Examples:
      arranger redo song.duet
      arranger redo song.duet --steps 3
    """
    from arranger.sheet.history.back import redo as bring_back

    tell(sheet, bring_back(sheet, steps))
