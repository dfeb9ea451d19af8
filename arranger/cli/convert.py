"""``arranger convert``: one song becomes a sheet, its sound, its ledger and a report."""

from __future__ import annotations

import gc
import sys
from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.keeping import EDITED, EditsAs, KeepEdits, SongChanged, TheSong, keeping_of
from arranger.cli.progress_bar import progress_bar
from arranger.cli.settings_options import with_settings
from arranger.cli.terminal import say_styled, say_text
from arranger.settings import Settings

FILES, TOLD = "Files", "What is told"


@with_settings()
def convert(
    song: TheSong,
    output: Annotated[
        Path,
        typer.Option(
            "--output", "-o", metavar="FOLDER", help="Where the files go.", rich_help_panel=FILES
        ),
    ] = Path(),
    audio: Annotated[
        str,
        typer.Option("--audio", metavar="KIND", help="wav, flac or ogg.", rich_help_panel=FILES),
    ] = "wav",
    no_audio: Annotated[
        bool, typer.Option("--no-audio", help="Write no sound.", rich_help_panel=FILES)
    ] = False,
    no_suggestions: Annotated[
        bool,
        typer.Option(
            "--no-suggestions",
            help="Don't try what other settings would give.",
            rich_help_panel=TOLD,
        ),
    ] = False,
    force: Annotated[
        bool,
        typer.Option(
            "--force", help="Overwrite a sheet that was edited by hand.", rich_help_panel=EDITED
        ),
    ] = False,
    keep_edits: KeepEdits = False,
    edits_as: EditsAs = None,
    song_changed: SongChanged = False,
    details: Annotated[
        bool,
        typer.Option(
            "--details",
            help="Tell steps, parts, textures and reasons as well.",
            rich_help_panel=TOLD,
        ),
    ] = False,
    json: Annotated[
        bool,
        typer.Option(
            "--json", help="Print the summary as JSON, for scripts.", rich_help_panel=TOLD
        ),
    ] = False,
    *,
    settings: Settings,
) -> None:
    """Turn a song into two voices and drums on one bit.

    Writes NAME.duet (the sheet, to edit by hand), NAME.wav (what the hardware will play),
    NAME.ledger.json and NAME.ledger.csv (what became of every note) and NAME.report.html. What they
    overwrite is kept as NAME~; the song itself is never overwritten.

    \b
    Examples:
      arranger convert parade.mid -o out
      arranger convert parade.mid -o out --tune trumpet --mute strings --transpose auto
      arranger convert parade.mid -o out --step 1/3 --bars 9-16 --no-audio
      arranger convert waltz.mid -o out --metre 3/4 --pickup 1
      arranger convert parade.mid -o out --drum cowbell=rim --drum 54=off
      arranger convert parade.mid -o out --transpose 2 --keep-edits
      arranger convert parade.mid -o out --transpose 2 --keep-edits=as-typed
    """
    from arranger.conversion import convert as convert_song
    from arranger.engine import load_engine
    from arranger.files import STDOUT
    from arranger.outputs import OutputChoice, output_paths, write_outputs
    from arranger.report import summary, terminal_text
    from arranger.song import read_song

    gc.freeze()  # so that what was imported isn't looked through again and again
    if output == STDOUT:
        raise typer.BadParameter("convert writes several files: name a folder with -o")
    keeping = keeping_of(keep_edits, edits_as, song_changed=song_changed)
    choice = OutputChoice(
        folder=output,
        song=song,
        audio=None if no_audio else audio,
        suggestions=not no_suggestions,
        force=force,
        keeping=keeping,
    )
    source = read_song(song, settings.read)
    conversion = convert_song(source, load_engine(settings.engine), settings)
    if keeping.edits:
        from arranger.conversion.by_hand import with_edits

        conversion, _ = with_edits(conversion, output_paths(choice, song.stem)[0], keeping)
    with progress_bar(f"rendering {song.stem}") as progress:
        written = write_outputs(conversion, song.stem, choice, progress=progress)
    found = summary(conversion, written.files, written.suggestions)
    if json:
        say_text(found.json())
    else:
        say_styled(terminal_text(found, sys.stdout, details=details))
