"""``arranger new``: a sheet to begin with, without a song."""

from __future__ import annotations

from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Annotated

import typer

from arranger.cli.terminal import say

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet


def new(
    sheet: Annotated[
        Path,
        typer.Argument(help="The file to write, NAME.duet; - is standard output.", metavar="SHEET"),
    ],
    engine: Annotated[
        str,
        typer.Option(
            "--engine", metavar="NAME", help="An engine's name, or the path of its .toml file."
        ),
    ] = "twin-phase",
    bars: Annotated[int, typer.Option(metavar="N", min=1, help="How many bars.")] = 16,
    metre: Annotated[str, typer.Option(metavar="N/N", help="The metre of all bars.")] = "4/4",
    tempo: Annotated[
        float, typer.Option(metavar="BPM", min=1, max=1000, help="Quarter notes a minute.")
    ] = 120,
    step: Annotated[
        str, typer.Option(metavar="SHARE", help="Step as a share of a beat (a quarter note).")
    ] = "1/4",
    pickup: Annotated[
        int, typer.Option(metavar="STEPS", min=0, help="Steps of a shorter bar before the first.")
    ] = 0,
    title: Annotated[
        str | None,
        typer.Option(metavar="TEXT", help="Default: the file's name.", show_default=False),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Overwrite a file that is there; it is kept as NAME~.")
    ] = False,
) -> None:
    """Begin a piece from nothing: write a sheet of silent bars, to be filled by hand.

    Bars of another metre or length are written by hand, as is where the piece loops: see the README.

    \b
    Examples:
      arranger new pier.duet
      arranger new pier.duet --engine twin-counter --bars 32 --metre 3/4 --tempo 140 --step 1/2
      arranger new pier.duet --title "On the pier" --pickup 4 --force
    """
    from arranger.bars import parse_metre
    from arranger.engine import load_engine
    from arranger.files import STDOUT, is_stdout, shown_target
    from arranger.sheet.blank import blank_sheet, read_step_share, write_blank

    found = load_engine(engine, beside=sheet)
    made = blank_sheet(
        found,
        title=("" if sheet == STDOUT else sheet.stem) if title is None else title,
        engine_name=engine,
        bars=bars,
        metre=parse_metre(metre),
        tempo=tempo,
        step_beats=read_step_share(step),
        pickup=pickup,
    )
    write_blank(sheet, made, force=force)
    aside = is_stdout(sheet)
    for line in _begun(shown_target(sheet), made, found):
        say(line, error=aside)
    if not aside:
        say(f"  write into it, then: arranger check {sheet}; arranger render {sheet} --watch")


def _begun(name: str, sheet: Sheet, engine: Engine) -> list[str]:
    """Return what there is to know before the first tone is written."""
    from arranger.bars import minutes_text
    from arranger.pitch import pitch_name
    from arranger.sheet.form.text import speed_text
    from arranger.sheet.played import played_bpm, step_length

    length = step_length(sheet, engine)
    pitches = f"{pitch_name(engine.lowest)} to {pitch_name(engine.highest)}"
    return [
        f"{name}: {sheet.steps} steps, {minutes_text(sheet.steps * length.seconds)}, "
        f"{speed_text(sheet)} ({played_bpm(sheet.step_beats, length):.2f} played)",
        *wrap(
            f"pitches {pitches}; drums {', '.join(engine.sounds) or 'none'}",
            initial_indent="  ",
            subsequent_indent="    ",
            break_on_hyphens=False,
        ),
    ]
