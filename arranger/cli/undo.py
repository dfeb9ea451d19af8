"""``arranger undo``: a sheet as it was before, whoever changed it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from arranger.cli.keeping import TheSheet
from arranger.cli.terminal import say, say_json

if TYPE_CHECKING:
    from arranger.sheet.history.back import Restored
    from arranger.sheet.history.versions import Version


def undo(
    sheet: TheSheet,
    steps: Annotated[
        int | None, typer.Option("--steps", metavar="N", min=1, help="So many versions at once.")
    ] = None,
    number: Annotated[
        int | None, typer.Option("--to", metavar="N", help="The version of this number.")
    ] = None,
    only_list: Annotated[
        bool, typer.Option("--list", help="Change nothing; list the versions.")
    ] = False,
    json: Annotated[
        bool, typer.Option("--json", help="List the versions as JSON, for scripts.")
    ] = False,
) -> None:
    """Take back the last change of a sheet, whether a command or an editor made it.

    NAME.duet.history, beside the sheet, keeps what commands wrote and what they found, up to 200
    versions; `arranger redo` goes forward again. A change after an undo loses nothing: what was
    taken back stays in the list.

    \b
    Examples:
      arranger undo song.duet
      arranger undo song.duet --list
      arranger undo song.duet --to 3
    """
    from arranger.sheet.history.back import go_to
    from arranger.sheet.history.back import undo as take_back

    if sum((steps is not None, number is not None, only_list or json)) > 1:
        raise typer.BadParameter("only one of --steps, --to and --list")
    if only_list or json:
        _list(sheet, json=json)
        return
    move = take_back(sheet, steps or 1) if number is None else go_to(sheet, number)
    tell(sheet, move)


def tell(sheet: Path, move: Restored) -> None:
    """Say which version stands in a file now, and what that changed."""
    from arranger.sheet.history.differing import differing
    from arranger.sheet.history.versions import before

    history, left = move.history, move.left
    now = next(version for version in history.versions if version.number == history.now)
    what = "" if left is None or left == now else f": {differing(move.content_left, move.content)}"
    way = (left, *before(history, left.number)) if left is not None else ()
    for version in way[: way.index(now)] if now in way else ():
        say(f"{sheet}: took back {_shown(version)}")
    say(f"{sheet}: is {_shown(now)}{what}")


def _shown(version: Version) -> str:
    from datetime import datetime

    if not version.seconds:
        return f"version {version.number} ({version.by})"
    try:
        # as the user's clock shows it
        when = f"{datetime.fromtimestamp(version.seconds):%Y-%m-%d %H:%M:%S}"
    except (OverflowError, OSError, ValueError):  # the clock was wrong
        when = "at an unknown time"
    return f"version {version.number} ({version.by}, {when})"


def _list(sheet: Path, *, json: bool) -> None:
    from arranger.sheet.history.back import listed
    from arranger.sheet.history.file import history_path

    history, changes = listed(sheet)
    if json:
        head = {"format": "arranger-history", "version": 1, "file": str(history_path(sheet))}
        say_json({**head, "now": history.now, "versions": [_as_json(each) for each in changes]})
        return
    if not changes:
        say(f"{sheet}: no earlier version is known")
    last = 0
    for version, what in changes:
        mark = "*" if version.number == history.now else " "
        after = f", after {version.before}" if version.before not in (0, last) else ""
        say(f"{mark} {_shown(version)}{after}{what and f': {what}'}")
        last = version.number


def _as_json(entry: tuple[Version, str]) -> dict[str, object]:
    version, what = entry
    return {
        "number": version.number,
        "after": version.before,
        "seconds": version.seconds,
        "by": version.by,
        "bytes": version.length,
        "changes": what,
    }
