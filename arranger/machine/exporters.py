"""The formats of ``arranger export``: one line each.

An exporter is a function ``(sheet, engine, options) -> bytes``, or without options. It is named, not imported, so that
writing JSON doesn't wait for a MIDI library.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.errors import UsageError, did_you_mean

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.engine.model import Engine
    from arranger.machine.export_options import ExportOptions
    from arranger.sheet.model import Sheet


class Exporter(NamedTuple):
    """One format."""

    suffix: str
    """Of the default name. Not one that a song has: the song may lie beside the sheet."""
    what: str
    module: str
    function: str
    notes: str = ""
    """A function of the same module and arguments: lines on what was written."""
    files: str = ""
    """A function of the same module and arguments: what is written beside, by file name."""
    has_address: bool = False
    """Whether what is written lies at an address, which may be asked for."""
    has_options: bool = True
    """Whether its functions take options."""

    def call(self, name: str, sheet: Sheet, engine: Engine, options: ExportOptions) -> Any:
        """Return what a function of its module, by its name, gives for a sheet."""
        function = getattr(import_module(self.module), name)
        return function(sheet, engine, *([options] if self.has_options else []))


EXPORTERS = {
    "json": Exporter(
        ".json", "what sounds on each step", "arranger.machine.json_export", "export_json"
    ),
    "c": Exporter(
        ".c",
        "a song in C with a header, and a player in C",
        "arranger.machine.c_export",
        "export_c",
        "c_notes",
        files="c_files",
    ),
    "data": Exporter(
        ".dat",
        "song data alone, for your own player",
        "arranger.machine.data_export",
        "export_data",
        "data_notes",
        has_address=True,
    ),
    "binary": Exporter(
        ".bin",
        "player and song, ready to run",
        "arranger.machine.program_export",
        "export_binary",
        "binary_notes",
        has_address=True,
    ),
    "assembly": Exporter(
        ".asm",
        "player and song as source for an assembler",
        "arranger.machine.program_export",
        "export_assembly",
        has_address=True,
    ),
    "hex": Exporter(
        ".hex",
        "player and song as Intel HEX, for loaders and programmers",
        "arranger.machine.program_export",
        "export_hex",
        "binary_notes",
        has_address=True,
    ),
    "midi": Exporter(
        ".duet.mid",
        "two tracks and drums for music programs",
        "arranger.sheet.midi",
        "to_midi",
        has_options=False,
    ),
    "musicxml": Exporter(
        ".duet.musicxml",
        "a score for notation programs",
        "arranger.sheet.score.musicxml",
        "to_musicxml",
        has_options=False,
    ),
    "svg": Exporter(
        ".svg",
        "a score as a picture, its pages beneath each other",
        "arranger.sheet.score.engrave",
        "to_svg",
        has_options=False,
    ),
    "pdf": Exporter(
        ".pdf", "a score to print", "arranger.sheet.score.engrave", "to_pdf", has_options=False
    ),
}


_PLAYER_FORMATS = ("binary", "assembly", "hex")


def export(sheet: Sheet, engine: Engine, format_name: str, options: ExportOptions) -> bytes:
    """Return a sheet in one of the `EXPORTERS`' formats.

    Raises `UsageError` if there is no such format, or an option doesn't fit it; `SheetError` if the
    engine can't play the sheet.
    """
    exporter = find_exporter(format_name)
    if options.address is not None:
        _check_address(format_name, engine)
    _check_player_options(format_name, engine, options)
    written: bytes = exporter.call(exporter.function, sheet, engine, options)
    return written


def export_notes(
    sheet: Sheet, engine: Engine, format_name: str, options: ExportOptions
) -> list[str]:
    """Return what a user should know of an export, a line each; raises as `export`."""
    exporter = find_exporter(format_name)
    return exporter.call(exporter.notes, sheet, engine, options) if exporter.notes else []


def export_files(
    sheet: Sheet, engine: Engine, format_name: str, options: ExportOptions
) -> dict[str, bytes]:
    """Return what an export writes beside its file, by file name; raises as `export`."""
    exporter = find_exporter(format_name)
    return exporter.call(exporter.files, sheet, engine, options) if exporter.files else {}


def export_many(
    sheets: Sequence[Sheet], engine: Engine, format_name: str, options: ExportOptions
) -> tuple[bytes, list[str]]:
    """Return one player with several songs, and what a user should know of it.

    Raises `UsageError` if the format has no player with several songs, or an option doesn't fit it;
    `SheetError` if the engine can't play a sheet.
    """
    from arranger.machine.program_export import export_songs, songs_notes

    find_exporter(format_name)
    if format_name not in _PLAYER_FORMATS or engine.profile.player != "z80":
        raise UsageError(
            f"{format_name} for {engine.name} takes one sheet",
            remedy=f"several are for the Z80 player as {' or '.join(_PLAYER_FORMATS)}",
        )
    _check_player_options(format_name, engine, options)
    notes = [] if format_name == "assembly" else songs_notes(sheets, engine, options)
    return export_songs(sheets, engine, format_name, options), notes


def _check_address(format_name: str, engine: Engine) -> None:
    having = [name for name, entry in EXPORTERS.items() if entry.has_address]
    if format_name not in having:
        raise UsageError(
            f"the format {format_name} has no address",
            remedy=f"leave out --address; it is for {' and '.join(having)}",
        )
    if format_name == "data" and engine.profile.export is None:
        raise UsageError(
            "data without an [export] of the engine have no address", remedy="leave out --address"
        )


def _check_player_options(format_name: str, engine: Engine, options: ExportOptions) -> None:
    """Refuse what only the Z80 player has, where there is none; C has prefixes too."""
    for name, given, formats in (
        ("--entries", options.entries, _PLAYER_FORMATS),
        ("--part", options.part, _PLAYER_FORMATS),
        ("--effects", options.effects, _PLAYER_FORMATS),
        ("--prefix", options.prefix if format_name != "c" else "", ("assembly",)),
    ):
        if given and (format_name not in formats or engine.profile.player != "z80"):
            c = ", or for c" if name == "--prefix" else ""
            raise UsageError(
                f"{name} is for the Z80 player as {' or '.join(formats)}{c}",
                remedy=f"leave out {name}",
            )


def default_suffix(format_name: str, engine: Engine, address: int | None = None) -> str:
    """Return how a file of a format is called that nobody named; raises as `find_exporter`."""
    if format_name == "binary" and engine.method == "alternate" and address is None:
        return ".com"
    if format_name == "data":
        from arranger.machine.data_export import data_suffix

        return data_suffix(engine)
    return find_exporter(format_name).suffix


def find_exporter(format_name: str) -> Exporter:
    """Return the exporter of a format name.

    Raises `UsageError` if there is none.
    """
    if format_name in EXPORTERS:
        return EXPORTERS[format_name]
    hint = did_you_mean(format_name, EXPORTERS, f"choose one of {', '.join(EXPORTERS)}")
    raise UsageError(f"there is no export format {format_name!r}", remedy=hint)
