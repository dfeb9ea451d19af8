"""Commands, and options that several share: of those that write where an edited sheet may stand, or change one.

``--keep-edits`` is a flag that may have a value, which typer doesn't know: `Command` reads the value
as that of an option of its own. So the word after a bare ``--keep-edits`` is never taken for it.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typer.core import TyperCommand

from arranger.cli.helping import Helping
from arranger.sheet.keep import Keeping

if TYPE_CHECKING:
    from typing import Any

    from arranger.sheet.model import Sheet


_WITH_VALUE = "--keep-edits="
_AS = "--keep-edits-as"
_AS_TYPED = "as-typed"
EDITED = "Where an edited sheet stands"

KeepEdits = Annotated[
    bool,
    typer.Option(
        "--keep-edits",
        help="Keep what was edited by hand, convert the rest anew; edits follow the key unless you "
        "write --keep-edits=as-typed.",
        rich_help_panel=EDITED,
    ),
]
EditsAs = Annotated[str | None, typer.Option(_AS, hidden=True)]
SongChanged = Annotated[
    bool,
    typer.Option(
        "--song-changed",
        help="Keep edits though the song's file is another one than then.",
        rich_help_panel=EDITED,
    ),
]


class Command(Helping, TyperCommand):
    """A command that reads ``--keep-edits=as-typed``."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read the command line."""
        end = args.index("--") if "--" in args else len(args)
        for at, word in enumerate(args[:end]):
            if word.startswith(_WITH_VALUE):
                args[at] = f"{_AS}={word.removeprefix(_WITH_VALUE)}"
        return super().parse_args(ctx, args)


def keeping_of(flag: bool, edits_as: str | None, *, song_changed: bool) -> Keeping:
    """Return what the options ask for.

    Raises `typer.BadParameter` if the value of ``--keep-edits`` is none.
    """
    if edits_as not in (None, _AS_TYPED):
        raise typer.BadParameter(
            f"{edits_as!r} is not {_AS_TYPED}; write --keep-edits or --keep-edits={_AS_TYPED}",
            param_hint="--keep-edits",
        )
    return Keeping(flag or edits_as is not None, edits_as is not None, song_changed)


TheSheet = Annotated[Path, typer.Argument(help="The sheet, NAME.duet.", metavar="SHEET")]
TheSong = Annotated[Path, typer.Argument(help="MIDI or notation file.", show_default=False)]
OnlyLook = Annotated[
    bool, typer.Option("--check", help="Write nothing; only tell what would be done.")
]
Elsewhere = Annotated[
    Path | None,
    typer.Option(
        "-o",
        "--output",
        metavar="FILE",
        help="Leave the sheet as it is and write here; - is standard output.",
    ),
]


def write_edited(
    path: Path, before: Sheet, edited: Sheet, output: Path | None, *, by: str, only_look: bool
) -> bool:
    """Write an edited sheet in its place, or elsewhere; return whether standard error is told of it.

    In its place only if it was changed. ``by``: the command, as `arranger undo` names it.
    """
    from arranger.files import is_stdout
    from arranger.sheet import write_sheet
    from arranger.sheet.keep import refuse_sources

    if output is not None:
        refuse_sources(output, path, before)
    if not only_look and (output is not None or edited != before):
        write_sheet(edited, path if output is None else output, by=by)
    return output is not None and is_stdout(output)
