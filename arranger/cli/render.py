"""``arranger render``: a sheet becomes an audio file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.progress import progress_bar


def render(
    sheet: Annotated[Path, typer.Argument(help="The sheet, NAME.duet.", metavar="SHEET")],
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            help="The audio file; its name chooses the format: .wav, .flac or .ogg. "
            "Default: NAME.wav beside the sheet.",
            metavar="FILE",
        ),
    ] = None,
    rate: Annotated[
        int, typer.Option("--rate", help="Samples a second, 22050 to 192000.")
    ] = 44_100,
    speaker: Annotated[
        str,
        typer.Option(
            "--speaker",
            help="raw: the pin itself; small: a cone of a few centimetres; piezo: a disc.",
        ),
    ] = "raw",
    split: Annotated[
        bool, typer.Option("--split", help="Voice 1 left, voice 2 right, to study them.")
    ] = False,
) -> None:
    """Make a sheet heard exactly as its engine will play it.

    The sound is computed from the clock cycles in which the pin changes, so pitch errors, drum
    gaps and tempo are the hardware's own. The peak is -12 dBFS.

    \b
    Examples:
      arranger render song.duet
      arranger render song.duet -o song.ogg --speaker small
      arranger render song.duet -o study.flac --split --rate 96000
    """  # noqa: D301 - the escape is click's mark for lines kept as they are
    target = output if output is not None else sheet.with_suffix(".wav")
    render_once(sheet, target, rate=rate, speaker=speaker, split=split)
    typer.echo(f"{target}")


def render_once(sheet: Path, target: Path, *, rate: int, speaker: str, split: bool) -> None:
    """Read a sheet and write its sound."""
    from arranger.engine import load_engine
    from arranger.errors import SheetError
    from arranger.sheet import read_sheet
    from arranger.sound import render as write_audio

    content = read_sheet(sheet)
    engine = load_engine(content.engine, beside=sheet)
    try:
        with progress_bar(f"rendering {target.name}") as progress:
            write_audio(
                content,
                engine,
                target,
                sample_rate=rate,
                speaker=speaker,
                split=split,
                progress=progress,
            )
    except SheetError as error:
        raise error.in_file(sheet) from None
