"""``arranger songbook``: many songs, converted together; they are named by paths, and lists of paths."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from arranger.cli.keeping import EditsAs, KeepEdits, SongChanged, keeping_of
from arranger.cli.progress_bar import counting
from arranger.cli.settings_options import with_settings
from arranger.cli.terminal import say, say_text
from arranger.errors import SettingsError
from arranger.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator


@with_settings()
def songbook(
    songs: Annotated[
        list[str],
        typer.Argument(
            metavar="SONGS...",
            help="A folder or a ZIP of songs, or several of both and songs; @FILE and - (standard "
            "input) name lists with one path a line.",
            show_default=False,
        ),
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "--output", "-o", metavar="OUT", help="Where the files go.", show_default=False
        ),
    ] = None,
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
        bool, typer.Option("--dry-run", help="Say what would be converted and why; write nothing.")
    ] = False,
    suggest: Annotated[
        bool,
        typer.Option(
            "--suggest",
            help="Convert nothing; write a songbook.toml with what would help each song, into its "
            "folder, or to the file that -o names.",
        ),
    ] = False,
    json: Annotated[
        bool, typer.Option("--json", help="Print the summary as JSON, for scripts.")
    ] = False,
    *,
    settings: Settings,
) -> None:
    """Convert many songs, and only those that changed since the last time.

    The folder's structure is mirrored in OUT (of several the one of the folder that holds them all, of a
    ZIP the one in it), beside songbook.csv, songbook.json and songbook.html (all
    songs, those first that need a hand). A file songbook.toml in that folder, or in the ZIP, sets options for all songs or for some. Songs that fail don't stop the
    others; exit code 1 tells that some did.

    \b
    Examples:
      arranger songbook songs -o out
      arranger songbook songs -o out --engine twin-counter --drums light --workers 2
      arranger songbook songs -o out --step 1/4 --dry-run
      arranger songbook songs --suggest
      arranger songbook songs.zip -o out
      find songs -name "*.mid" -size -50k | arranger songbook - -o out
    """
    from json import dumps

    from arranger.songbook import BookChoice, convert_book, core_count, plan_book
    from arranger.songbook.advice import suggest as advise
    from arranger.songbook.planned.why_told import plan_text, plan_values
    from arranger.songbook.progress import Progress
    from arranger.songbook.summing_up import advice_json, advice_text, result_json, result_text

    if output is None and not suggest:
        raise typer.BadParameter("say where the files go", param_hint="-o OUT")
    if dry_run and suggest:
        raise typer.BadParameter(
            "writes no songbook.toml; leave --suggest out", param_hint="--dry-run"
        )
    choice = BookChoice(
        sources=songs_named(songs),
        out=output or Path(),
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
    width = max(shutil.get_terminal_size().columns, 60) if sys.stdout.isatty() else 80
    try:
        with counting("songs") as report:

            def progress(now: Progress) -> None:
                report(now.done, now.songs, now.left)

            if suggest:
                advised = advise(choice, output, progress)
                said, failed = (
                    advice_json(advised) if json else advice_text(advised),
                    advised.failed,
                )
            else:
                result = convert_book(choice, progress)
                said = result_json(result) if json else result_text(result, width)
                failed = result.failed
    except KeyboardInterrupt:
        again = "nothing was written" if suggest else "the next run goes on from here"
        say(f"arranger: stopped; {again}", error=True)
        sys.exit(130)
    if said:
        say_text(said)
    if failed:
        sys.exit(1)


STANDARD_INPUT = "-"
LIST = "@"


def songs_named(words: Iterable[str]) -> tuple[Path, ...]:
    """Return the paths that some words name.

    ``words``: paths; ``@FILE`` for those in a file, one a line, and ``-`` for those on standard
    input. They count from the folder where the command is given.

    Raises `SettingsError` if a list can't be read, or nothing is named.
    """
    paths = tuple(path for word in words for path in _paths(word))
    if not paths:
        raise SettingsError("the list names no song", remedy="write one path a line")
    return paths


def _paths(word: str) -> Iterator[Path]:
    if word == STANDARD_INPUT:
        yield from _listed(sys.stdin.buffer.read())
    elif word.startswith(LIST):
        path = Path(word.removeprefix(LIST))
        try:
            yield from _listed(path.read_bytes())
        except OSError as error:
            raise SettingsError(
                f"the list can't be read: {error.strerror}",
                file=path,
                remedy=f"for a file of that name write ./{word}",
            ) from error
    else:
        yield Path(word)


def _listed(content: bytes) -> Iterator[Path]:
    for line in content.removeprefix(b"\xef\xbb\xbf").split(b"\n"):
        name = os.fsdecode(line.removesuffix(b"\r"))
        if name.strip():
            yield Path(name)
