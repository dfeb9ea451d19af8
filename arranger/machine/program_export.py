"""Player and song together: bytes for memory, or a source for an assembler.

Each kind of engine has its own player: `arranger.machine.player` for the Z80 engines,
`arranger.machine.alternate_player` for a PC's timer channel. The former may play several songs.

Source of Intel HEX: Intel, "Hexadecimal Object File Format Specification", revision A, January 6, 1988
(written down from memory): the 8-bit format, data records (type 00) and the end of file record (type 01).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.engine.describe import port_line
from arranger.machine import alternate_player as pc
from arranger.machine import player
from arranger.machine.song_source import effect_numbers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.engine.model import Engine
    from arranger.machine.export_options import ExportOptions
    from arranger.sheet.model import Sheet


def export_binary(sheet: Sheet, engine: Engine, options: ExportOptions) -> bytes:
    """Return player and song as bytes.

    Raises `SettingsError` if the engine has no player here, or can't lie at the address;
    `SheetError` if the engine can't play the sheet, or the song doesn't fit into memory.
    """
    if _is_pc(engine):
        return pc.binary(sheet, engine, options.address)
    return export_songs([sheet], engine, "binary", options)


def export_assembly(sheet: Sheet, engine: Engine, options: ExportOptions) -> bytes:
    """Return player and song as a source in ASCII; raises as `export_binary`."""
    if _is_pc(engine):
        return pc.alternate_source(sheet, engine, options.address).encode()
    return export_songs([sheet], engine, "assembly", options)


def export_hex(sheet: Sheet, engine: Engine, options: ExportOptions) -> bytes:
    """Return player and song as Intel HEX; raises as `export_binary`."""
    if _is_pc(engine):
        return intel_hex(export_binary(sheet, engine, options), _pc_origin(options))
    return export_songs([sheet], engine, "hex", options)


def binary_notes(sheet: Sheet, engine: Engine, options: ExportOptions) -> list[str]:
    """Return what a programmer must know of the bytes: entry points and sizes, a line each."""
    if _is_pc(engine):
        return _pc_notes(sheet, engine, options)
    return songs_notes([sheet], engine, options)


def _pc_notes(sheet: Sheet, engine: Engine, options: ExportOptions) -> list[str]:
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
    return pc.PROGRAM_ORIGIN if options.address is None else options.address


_A_RECORD = 16


def intel_hex(content: bytes, address: int) -> bytes:
    """Return bytes that begin at an address of 16 bits as text of ASCII lines.

    >>> print(intel_hex(b"tide", 0x8000).decode(), end="")
    :0480000074696465D6
    :00000001FF
    """
    starts = range(0, len(content), _A_RECORD)
    data = [_record(address + at, 0, content[at : at + _A_RECORD]) for at in starts]
    return ("\n".join([*data, _record(0, 1, b"")]) + "\n").encode("ascii")


def _record(address: int, kind: int, data: bytes) -> str:
    record = bytes((len(data), *address.to_bytes(2, "big"), kind, *data))
    return f":{(record + bytes((-sum(record) & 0xFF,))).hex().upper()}"


_CALLS = {
    "start": "call: plays the piece; comes back with A = 2 at its end, 1 after a key",
    "step": "call: plays one step; comes back with A = 0, 1 after a key, 2 after the last",
    "stop": "call: silence; the next step is the first",
    "open": "call: as step, but interrupts stay on if they are",
    "choose": "call with a number in A: silence; the next step is the first of that song",
    "effect": "call with a number in A: plays a drum sound; comes back with A = 0, 1 after a key",
    "border": "the byte of the port's other bits (border colour, tape output)",
    "list": "the word that says where the songs lie",
    "songs": "the songs",
}
_WITHOUT_KEYS = (
    ("start", "call: plays the piece; comes back with A = 2 at its end"),
    ("step", "call: plays one step; comes back with A = 0, or 2 after the last"),
    ("effect", "call with a number in A: plays a drum sound"),
)


def export_songs(
    sheets: Sequence[Sheet], engine: Engine, format_name: str, options: ExportOptions
) -> bytes:
    """Return one Z80 player with songs as "binary", "assembly" or "hex".

    Raises as `arranger.machine.player.build`.
    """
    wanted = _build(options)
    if format_name == "assembly":
        return player.source(sheets, engine, wanted).encode("ascii")
    content = player.build(sheets, engine, wanted).content
    if format_name == "hex":
        return intel_hex(content, wanted.origin)
    return content


def songs_notes(sheets: Sequence[Sheet], engine: Engine, options: ExportOptions) -> list[str]:
    """Return what a programmer must know of one Z80 player with songs, a line each."""
    image = player.build(sheets, engine, _build(options))
    last = image.origin + len(image.content) - 1
    what = _CALLS | (dict(_WITHOUT_KEYS) if not engine.profile.port.key_mask else {})
    sizes = f"player {image.code_bytes:,} bytes, " if image.code_bytes else ""
    sizes += f"{'song' if len(sheets) == 1 else 'songs'} {image.song_bytes:,}"
    notes = [
        f"addresses {image.origin:#06x} to {last:#06x}",
        f"{sizes}; {free_line(engine, len(image.content))}",
    ]
    if options.part != "songs":
        notes.append(port_line(engine.profile.port))
    notes += [f"{at:#06x}  {name:7} {what[name]}" for name, at in image.entry_points.items()]
    if "choose" in image.entry_points or options.part == "songs":
        notes += [f"song {number}: {sheet.title}" for number, sheet in enumerate(sheets)]
    return notes + [
        f"effect {number}: {name}" for number, name in effect_numbers(options.effects, engine)
    ]


def _build(options: ExportOptions) -> player.Build:
    origin = player.DEFAULT_ORIGIN if options.address is None else options.address
    entries = options.entries or player.ENTRIES
    return player.Build(origin, entries, options.part, options.effects, options.prefix)


def free_line(engine: Engine, used: int) -> str:
    """Return how much memory is left."""
    return f"{engine.memory_bytes - used:,} of {engine.memory_bytes:,} bytes free"
