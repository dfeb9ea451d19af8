"""``arranger songbook``: a folder of songs, converted together."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.keeping import EditsAs, KeepEdits, SongChanged, keeping_of
from arranger.cli.progress import counting
from arranger.cli.settings_options import with_settings
from arranger.cli.terminal import say, say_text
from arranger.settings import Settings


@with_settings()
def songbook(
    folder: Annotated[Path, typer.Argument(help="Folder of songs.", show_default=False)],
    output: Annotated[
        Path, typer.Option("--output", "-o", metavar="OUT", help="Where the files go.")
    ],
    audio: Annotated[
        str | None,
        typer.Option("--audio", metavar="KIND", help="Also write sound: wav, flac or ogg."),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option("--workers", metavar="N", min=1, help="Processes; one a core if not given."),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option("--cluster", metavar="ADDRESS", help="Use the Dask cluster at this address."),
    ] = None,
    seconds: Annotated[
        float, typer.Option("--seconds", metavar="N", min=0.1, help="Time limit of a song.")
    ] = 60.0,
    megabytes: Annotated[
        int, typer.Option("--megabytes", metavar="N", min=200, help="Memory limit of a song.")
    ] = 2000,
    force: Annotated[
        bool, typer.Option("--force", help="Overwrite sheets that were edited by hand.")
    ] = False,
    keep_edits: KeepEdits = False,
    edits_as: EditsAs = None,
    song_changed: SongChanged = False,
    dry_run: Annotated[
        bool,
        typer.Option("--dry-run", help="Say what would be converted and why; write nothing."),
    ] = False,
    json: Annotated[
        bool, typer.Option("--json", help="Print the summary as JSON, for scripts.")
    ] = False,
    *,
    settings: Settings,
) -> None:
    """Convert all songs of a folder, and only those that changed since the last time.

    The folder's structure is mirrored in OUT, beside songbook.csv, songbook.json and songbook.html
    (all songs, ranked by what was kept). A file songbook.toml in the folder sets options for all
    songs or for some. Songs that fail don't stop the others; exit code 1 tells that some did.

    \b
    Examples:
      arranger songbook songs -o out
      arranger songbook songs -o out --engine twin-counter --drums light --workers 2
      arranger songbook songs -o out --step 1/4 --dry-run
    """  # noqa: D301 - the escape is click's mark for lines kept as they are
    from json import dumps

    from arranger.songbook import BookChoice, convert_book, core_count, plan_book
    from arranger.songbook.reasons import plan_text, plan_values
    from arranger.songbook.summing_up import as_json, as_text

    choice = BookChoice(
        folder=folder,
        out=output,
        settings=settings,
        audio=audio,
        force=force,
        keeping=keeping_of(keep_edits, edits_as, song_changed=song_changed),
        workers=workers or core_count(),
        cluster=cluster,
        seconds=seconds,
        megabytes=megabytes,
    )
    if dry_run:
        planned = plan_book(choice)
        say_text(dumps(plan_values(*planned)) if json else plan_text(*planned))
        return
    try:
        with counting("songs") as progress:
            result = convert_book(choice, progress)
    except KeyboardInterrupt:
        say("arranger: stopped; the next run goes on from here", error=True)
        sys.exit(130)
    say_text(as_json(result) if json else as_text(result))
    if result.failed:
        sys.exit(1)
