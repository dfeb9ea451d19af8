"""``arranger export``: a sheet in a form that other programs take."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.terminal import say
from arranger.machine.exporters import EXPORTERS


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
    sheet: Annotated[Path, typer.Argument(help="The sheet, NAME.duet.", metavar="SHEET")],
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
            help="Of the Z80 player: which of start,step,stop your program calls; what only the "
            "others need is left out. Default: all.",
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
      arranger export song.duet --as assembly --prefix song_ -o song.asm
      arranger export song.duet --as musicxml
      arranger export song.duet --as pdf -o score.pdf
    """  # noqa: D301 - the escape is click's mark for lines kept as they are
    from arranger.engine import load_engine
    from arranger.errors import SheetError
    from arranger.files import check_target, is_stdout, shown_target, write_bytes, writes_through
    from arranger.machine.exporters import (
        default_suffix,
        export_files,
        export_notes,
        find_exporter,
    )
    from arranger.machine.exporters import export as export_sheet
    from arranger.machine.options import ExportOptions
    from arranger.sheet import read_sheet
    from arranger.sheet.keep import refuse_sources

    find_exporter(format_name)
    content = read_sheet(sheet)
    engine = load_engine(content.engine, beside=sheet)
    target = output or sheet.parent / f"{sheet.stem}{default_suffix(format_name, engine, address)}"
    check_target(target)
    refuse_sources(target, sheet, content)
    try:
        names = tuple(re.split(r"[,\s]+", entries.strip())) if entries else ()
        stem = "" if writes_through(target) else target.name.removesuffix(target.suffix)
        options = ExportOptions(address=address, entries=names, prefix=prefix, stem=stem)
        written = export_sheet(content, engine, format_name, options)
        files = {target: written}
        if stem:
            beside = export_files(content, engine, format_name, options)
            files |= {target.parent / name: text for name, text in beside.items()}
        notes = export_notes(content, engine, format_name, options)
    except SheetError as error:
        raise error.in_file(sheet) from None
    for path in files:
        check_target(path)
        refuse_sources(path, sheet, content)
    for path, content_bytes in files.items():
        write_bytes(path, content_bytes)
    aside = is_stdout(target)
    say(f"{shown_target(target)}: {len(written):,} bytes", error=aside)
    for path in [*files][1:]:
        say(f"{shown_target(path)}", error=aside)
    for line in notes:
        say(f"  {line}", error=aside)
