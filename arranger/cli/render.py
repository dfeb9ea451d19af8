"""``arranger render``: a sheet becomes an audio file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from arranger.cli.keeping import TheSheet
from arranger.cli.progress_bar import progress_bar
from arranger.cli.terminal import say

if TYPE_CHECKING:
    from arranger.sheet import Sheet


def render(
    sheet: TheSheet,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            help="The audio file; its name chooses the format: .wav, .flac or .ogg. "
            "- is standard output, as WAV. Default: NAME.wav beside the sheet.",
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
    bars: Annotated[
        str | None,
        typer.Option("--bars", metavar="A-B", help="These bars only, or a section by its name."),
    ] = None,
    loop: Annotated[
        int,
        typer.Option(
            "--loop",
            metavar="N",
            min=1,
            max=1000,
            help="Play N times round: from the end back to the loop mark, or to the start.",
        ),
    ] = 1,
    watch: Annotated[
        bool, typer.Option("--watch", help="Render again after each save, until Ctrl-C.")
    ] = False,
) -> None:
    """Make a sheet heard exactly as its engine will play it.

    The sound is computed from the clock cycles in which the pin changes, so pitch errors, drum
    gaps and tempo are the hardware's own. The peak is -12 dBFS. The sheet and the song it was made
    from are never overwritten; another file is kept as NAME~.

    \b
    Examples:
      arranger render song.duet
      arranger render song.duet -o song.ogg --speaker small
      arranger render song.duet -o study.flac --split --rate 96000
      arranger render song.duet --bars 5-8 --loop 4 --watch
      arranger render song.duet --bars B -o refrain.ogg
    """
    from arranger.files import is_stdout, shown_target

    target = output if output is not None else sheet.parent / f"{sheet.stem}.wav"
    aside = is_stdout(target)
    if watch and aside:
        raise typer.BadParameter("--watch writes again and again: name a file with -o")

    def once() -> None:
        render_once(sheet, target, rate=rate, speaker=speaker, split=split, bars=bars, rounds=loop)

    if watch:
        _watch(sheet, target, once)
    else:
        once()
        say(shown_target(target), error=aside)


def render_once(
    sheet: Path,
    target: Path,
    *,
    rate: int,
    speaker: str,
    split: bool,
    bars: str | None = None,
    rounds: int = 1,
) -> None:
    """Read a sheet and write its sound."""
    from arranger.engine import load_engine
    from arranger.errors import SheetError
    from arranger.files import check_target
    from arranger.sheet import read_sheet
    from arranger.sheet.excerpt import go_round
    from arranger.sheet.keep import refuse_sources
    from arranger.sound import render as write_audio

    check_target(target)
    content = read_sheet(sheet)
    refuse_sources(target, sheet, content)
    engine = load_engine(content.engine, beside=sheet)
    if bars is not None:
        content = _passage(content, bars)
    try:
        with progress_bar(f"rendering {target.name}") as progress:
            write_audio(
                go_round(content, rounds),
                engine,
                target,
                sample_rate=rate,
                speaker=speaker,
                split=split,
                progress=progress,
            )
    except SheetError as error:
        raise error.in_file(sheet) from None


def _passage(sheet: Sheet, bars: str) -> Sheet:
    """Return the bars of "5-8", or of a section of the sheet by its name."""
    from arranger.bars import parse_bars
    from arranger.sheet.bar_edits.which_bars import bars_asked_for
    from arranger.sheet.excerpt import cut, cut_bars

    if bars.lstrip()[:1].isdecimal() or not any(bar.section for bar in sheet.bars):
        return cut_bars(sheet, *parse_bars(bars))
    chosen = bars_asked_for(sheet, bars)
    return cut(sheet, chosen.first, chosen.end)


def _watch(sheet: Path, target: Path, once: Callable[[], None]) -> None:
    """Render after each save, and say what is wrong without giving up."""
    from time import perf_counter

    from arranger.errors import ArrangerError
    from arranger.sheet.watch import saves

    say(f"watching {sheet}, Ctrl-C ends")
    try:
        for _ in saves(sheet):
            begun = perf_counter()
            try:
                once()
            except ArrangerError as error:
                say(f"arranger: {error}", error=True)
            else:
                say(f"{target}: {perf_counter() - begun:.2f} s")
    except KeyboardInterrupt:
        say()
