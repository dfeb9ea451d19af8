"""``arranger compare``: the bars in which two sheets differ, side by side, as text or as a page."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.terminal import harmless, say, say_json, say_text

SUFFIX = ".compare.html"


def compare(
    before: Annotated[Path, typer.Argument(help="A sheet.", metavar="A")],
    after: Annotated[Path, typer.Argument(help="Another one.", metavar="B")],
    json: Annotated[
        bool, typer.Option("--json", help="Print the differences as JSON, for scripts.")
    ] = False,
    page: Annotated[
        bool,
        typer.Option(
            "--page",
            help="Write a page that shows and plays both, as two conversions of their song.",
            rich_help_panel="As a page",
        ),
    ] = False,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help=f"Where the page goes, instead of B{SUFFIX} beside B.",
            rich_help_panel="As a page",
        ),
    ] = None,
    song: Annotated[
        Path | None,
        typer.Option(
            "--song",
            metavar="FILE",
            help="The song, if it isn't beside the sheets, or its folder.",
            rich_help_panel="As a page",
        ),
    ] = None,
) -> None:
    """Show the bars in which two sheets differ, side by side.

    If a ledger (NAME.ledger.json) lies beside one of them, it also tells which notes of the song
    sheet B brings back, and which it loses. With --page it writes a page: how much of tune, bass,
    harmony and drums is heard in each, bar by bar, and both to be played in turn.

    \b
    Examples:
      arranger compare song.duet~ song.duet
      arranger compare first/song.duet second/song.duet --json
      arranger compare first/song.duet second/song.duet --page --song song.mid
    """
    if page:
        if json:
            raise typer.BadParameter("--page and --json are two different answers")
        _write_page(before, after, output or after.with_suffix(SUFFIX), song)
        return
    if output is not None or song is not None:
        raise typer.BadParameter("-o and --song are for --page")
    from arranger.sheet.compare import compare_files
    from arranger.sheet.side_by_side import comparison_json, side_by_side

    found = compare_files(before, after)
    if json:
        say_json(comparison_json(found))
    else:
        width = max(shutil.get_terminal_size().columns, 80) if sys.stdout.isatty() else 80
        say_text(side_by_side(found, harmless(str(before)), harmless(str(after)), width))


def _write_page(before: Path, after: Path, output: Path, song: Path | None) -> None:
    from arranger.conversion.behind import find_song, in_sheet, open_behind
    from arranger.files import encoded, refuse_inputs, write_pieces
    from arranger.report.pages.compare_page import Compared, compare_page_pieces
    from arranger.sheet import read_sheet

    sides = []
    inputs = {"one of the sheets": before, "the other sheet": after}
    for path in (before, after):
        sheet = read_sheet(path)
        source = find_song(path, sheet, song)
        if source is not None:
            inputs["the song"] = source
        behind = open_behind(path, sheet, source)
        sides.append(Compared(str(path), in_sheet(behind, sheet).conversion))
    refuse_inputs(output, inputs)
    write_pieces(output, encoded(compare_page_pieces(*sides)))
    say(f"wrote {output}")
