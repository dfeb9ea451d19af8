"""``arranger export``: a sheet in a form that other programs take."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from arranger.cli.terminal import say
from arranger.machine.exporters import EXPORTERS

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.errors import ArrangerError
    from arranger.sheet.model import Sheet


def _address(text: str) -> int:
    """Return a memory address given in any of the ways that assemblers write it."""
    match = re.fullmatch(r"(?:0x|\$)([0-9a-f]{1,8})|([0-9a-f]{1,8})h|(\d{1,9})", text.lower())
    if match is None:
        raise typer.BadParameter(f"{text!r} is no address (32768, 0x8000, $8000 or 8000h)")
    value = int(match[3]) if match[3] else int(match[1] or match[2], 16)
    if not 0 <= value <= 0xFFFF:
        raise typer.BadParameter(f"{text} is outside 0 to 0xFFFF")
    return value


def export(
    sheets: Annotated[
        list[Path],
        typer.Argument(
            help="The sheet, NAME.duet; several for one Z80 player that plays all of them.",
            metavar="SHEET...",
        ),
    ],
    format_name: Annotated[
        str,
        typer.Option(
            "--as",
            metavar="FORMAT",
            help="; ".join(f"{name}: {entry.what}" for name, entry in EXPORTERS.items()) + ".",
        ),
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            metavar="FILE",
            help="The file to write; - is standard output. Default: beside the sheet, with the "
            "format's suffix (.duet.mid and .duet.musicxml: the song itself may lie there).",
        ),
    ] = None,
    address: Annotated[
        int | None,
        typer.Option(
            "--address",
            metavar="ADDRESS",
            parser=_address,
            help="Where code and data will lie in memory (of a PC: in their segment): 32768, 0x8000, "
            "'$8000' or 8000h. Without it a PC gets a program, NAME.com.",
        ),
    ] = None,
    entries: Annotated[
        str,
        typer.Option(
            "--entries",
            metavar="NAMES",
            help="Of the Z80 player: which of start,step,stop,open your program calls; what only "
            "the others need is left out. open is a step with interrupts left on. Default: the "
            "first three.",
        ),
    ] = "",
    part: Annotated[
        str,
        typer.Option(
            "--part",
            metavar="PART",
            help="Of the Z80 player with songs: player or songs alone, for programs that load them "
            "apart.",
        ),
    ] = "",
    effects: Annotated[
        str,
        typer.Option(
            "--effects",
            metavar="NAMES",
            help="Of the Z80 player: drum sounds that your program plays by themselves, such as "
            "kick,snare-hat.",
        ),
    ] = "",
    prefix: Annotated[
        str,
        typer.Option(
            "--prefix",
            metavar="TEXT",
            help="What all labels of assembly, or the names in C, begin with, so that the sources of "
            "several songs can stand together.",
        ),
    ] = "",
) -> None:
    """Write a sheet in a form that other programs take.

    The sheet and the song it was made from are never overwritten; another file is kept as NAME~.

    \b
    Examples:
      arranger export song.duet --as json -o song.json
      arranger export song.duet --as json -o - | jq .step_seconds
      arranger export song.duet --as c -o song.c
      arranger export song.duet --as data -o song.dat
      arranger export song.duet --as binary --address 0xA000
      arranger export song.duet --as hex --address 0xA000
      arranger export song.duet --as binary --entries start
      arranger export song.duet --as c --prefix quay_ -o quay.c
      arranger export title.duet level.duet --as binary --effects hat,kick -o music.bin
      arranger export title.duet level.duet --as hex --part songs --address 0xC000 -o songs.hex
      arranger export song.duet --as assembly --prefix song_ -o song.asm
      arranger export song.duet --as musicxml
      arranger export song.duet --as pdf -o score.pdf
    """
    from arranger.engine import load_engine
    from arranger.errors import SheetError
    from arranger.files import check_target, is_stdout, shown_target, write_bytes, writes_through
    from arranger.machine.export_options import ExportOptions
    from arranger.machine.exporters import (
        default_suffix,
        export_files,
        export_many,
        export_notes,
        find_exporter,
    )
    from arranger.machine.exporters import export as export_sheet
    from arranger.sheet import read_sheet
    from arranger.sheet.keep import refuse_sources

    find_exporter(format_name)
    first = sheets[0]
    contents = [read_sheet(sheet) for sheet in sheets]
    engine = load_engine(contents[0].engine, beside=first)
    target = output or first.parent / f"{first.stem}{default_suffix(format_name, engine, address)}"
    check_target(target)
    for sheet, content in zip(sheets, contents, strict=True):
        refuse_sources(target, sheet, content)
        if load_engine(content.engine, beside=sheet) != engine:
            raise _another_engine(sheet, content.engine, first, engine.name)
    options = ExportOptions(
        address=address,
        entries=_names(entries),
        prefix=prefix,
        part=part,
        effects=_names(effects),
        stem="" if writes_through(target) else target.name.removesuffix(target.suffix),
    )
    try:
        beside: dict[str, bytes] = {}
        if len(sheets) > 1:
            for sheet, content in zip(sheets, contents, strict=True):
                _check_playable(sheet, content, engine)
            written, notes = export_many(contents, engine, format_name, options)
        else:
            written = export_sheet(contents[0], engine, format_name, options)
            notes = export_notes(contents[0], engine, format_name, options)
            if options.stem:
                beside = export_files(contents[0], engine, format_name, options)
    except SheetError as error:
        raise error.in_file(first) from None
    files = {target: written, **{target.parent / name: text for name, text in beside.items()}}
    for path in files:
        check_target(path)
        for sheet, content in zip(sheets, contents, strict=True):
            refuse_sources(path, sheet, content)
    for path, text in files.items():
        write_bytes(path, text)
    aside = is_stdout(target)
    say(f"{shown_target(target)}: {len(written):,} bytes", error=aside)
    for path in [*files][1:]:
        say(f"{shown_target(path)}", error=aside)
    for line in notes:
        say(f"  {line}", error=aside)


def _names(text: str) -> tuple[str, ...]:
    return tuple(re.split(r"[,\s]+", text.strip())) if text else ()


def _check_playable(sheet: Path, content: Sheet, engine: Engine) -> None:
    """Name the sheet of several that the engine can't play."""
    from arranger.errors import SheetError
    from arranger.machine.size import song_bytes

    try:
        song_bytes(content, engine)
    except SheetError as error:
        raise error.in_file(sheet) from None


def _another_engine(sheet: Path, engine: str, first: Path, firsts: str) -> ArrangerError:
    from arranger.errors import SettingsError

    return SettingsError(
        f"it is for {engine}, {first} for {firsts}",
        file=sheet,
        remedy="one player plays the songs of one engine: export them apart, with --prefix",
    )
