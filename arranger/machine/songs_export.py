"""One Z80 player with one song or several, as the formats of ``arranger export`` have it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.engine.describe import port_line
from arranger.machine import player
from arranger.machine.intel_hex import intel_hex
from arranger.machine.song_source import effect_numbers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.engine.model import Engine
    from arranger.machine.options import ExportOptions
    from arranger.sheet.model import Sheet

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
