"""Player and song together: bytes for memory, or a source for an assembler.

Each kind of engine has its own player: `arranger.machine.player` for the Z80 engines,
`arranger.machine.alternate_player` for a PC's timer channel.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.machine.options import ExportOptions
    from arranger.sheet.model import Sheet


def export_binary(sheet: Sheet, engine: Engine, options: ExportOptions) -> bytes:
    """Return player and song as bytes.

    Raises
    ------
    SettingsError
        If the engine has no player here, or can't lie at the address.
    SheetError
        If the engine can't play the sheet, or the song doesn't fit into memory.
    """
    if _is_pc(engine):
        from arranger.machine import alternate_player

        return alternate_player.binary(sheet, engine, options.address)
    from arranger.machine.songs_export import export_songs

    return export_songs([sheet], engine, "binary", options)


def export_assembly(sheet: Sheet, engine: Engine, options: ExportOptions) -> bytes:
    """Return player and song as a source in ASCII; raises as `export_binary`."""
    if _is_pc(engine):
        from arranger.machine import alternate_player

        return alternate_player.assembly(sheet, engine, options.address).encode()
    from arranger.machine.songs_export import export_songs

    return export_songs([sheet], engine, "assembly", options)


def export_hex(sheet: Sheet, engine: Engine, options: ExportOptions) -> bytes:
    """Return player and song as Intel HEX; raises as `export_binary`."""
    if _is_pc(engine):
        from arranger.machine.intel_hex import intel_hex

        return intel_hex(export_binary(sheet, engine, options), _pc_origin(options))
    from arranger.machine.songs_export import export_songs

    return export_songs([sheet], engine, "hex", options)


def binary_notes(sheet: Sheet, engine: Engine, options: ExportOptions) -> list[str]:
    """Return what a programmer must know of the bytes: entry points and sizes, a line each."""
    if _is_pc(engine):
        return _pc_notes(sheet, engine, options)
    from arranger.machine.songs_export import songs_notes

    return songs_notes([sheet], engine, options)


def _pc_notes(sheet: Sheet, engine: Engine, options: ExportOptions) -> list[str]:
    from arranger.machine import alternate_player as pc
    from arranger.machine.songs_export import free_line

    code = len(pc.PLAYER)
    song = len(pc.song_data(sheet, engine))
    sizes = f"player {code:,} bytes, song {song:,}; {free_line(engine, code + song)}"
    origin = _pc_origin(options)
    if options.address is None:
        begins = origin + len(pc.PROGRAM)
        return [
            "a program: runs as it stands as a file whose name ends in .com; a key stops it",
            sizes,
            f"the same player and song begin at {begins:#06x}; --address writes them alone",
        ]
    return [
        f"offsets {origin:#06x} to {origin + code + song - 1:#06x} of one segment; runs at any other too",
        sizes,
        "  near    far",
        *(
            f"{near:#06x} {far:#06x}  {name:6} call: {pc.ENTRIES[name]}"
            for name, near, far in pc.entry_points(origin)
        ),
        "AX is changed; all other registers, flags and segments come back as they were",
    ]


def _is_pc(engine: Engine) -> bool:
    return engine.method == "alternate"


def _pc_origin(options: ExportOptions) -> int:
    from arranger.machine.alternate_player import PROGRAM_ORIGIN

    return PROGRAM_ORIGIN if options.address is None else options.address
