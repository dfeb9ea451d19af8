"""The Z80 player with a song: source text and bytes at an address.

The text is the player's (`arranger.machine.player_source`), then the song. What is assembled from it is
what is exported.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.player import chunking
from arranger.errors import SettingsError, SheetError, UsageError
from arranger.machine.assembler import assemble
from arranger.machine.packing import FIRST_PHRASE, pack
from arranger.machine.player_source import player_source
from arranger.sheet.played import step_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from arranger.engine.model import Engine
    from arranger.machine.assembler import Assembled
    from arranger.machine.packing import Line, PackedSong
    from arranger.sheet.model import Sheet

ENTRIES = ("start", "step", "stop")
"""Ways to call the player, in the order of their addresses."""
DEFAULT_ORIGIN = 0x8000
SLOW_MEMORY_END = 0x8000
"""Below, some machines let the screen have the memory first, which would slow the player down."""

FIRST_WRITE_CYCLES = 366
"""From a call of ``start`` to cycle 0 of `arranger.sound.signal.edges`, if no key is down (tested).

33 cycles fewer where no key stops the player; other if entries are left out.
"""

_MEMORY_END = 0x10000
_LONGEST_COMMENT = 100
_PREFIX = re.compile(r"[a-z_][a-z0-9_]{0,23}")

_HEAD = """\
; {title}
; Two voices and drums for one speaker pin, on a Z80 at {clock} Hz; engine {engine}.
;
; Loudness: keep the volume low at first; square waves are harsh to ears and small speakers. A pin that
; drives a speaker directly needs a resistor or a driver stage: follow the local rules and the advice of
; people qualified for the hardware.
;
; Call {calls}.
; The speaker is bit {speaker} of port {port}; set the byte at {border} to what the other bits
; shall be, so that the border stays as it is. Place it where the processor has the memory for itself.
;
; Cycles stand beside each instruction (Z80 CPU User Manual, UM0080), without the waiting states
; that a machine may add at the port. A jump to the next line is a pause.
;
"""
_CONSTANTS = {
    "port": (0, ""),
    "speaker": (0, "the bit of the port that moves the speaker"),
    "idle": (0, "its other bits at first"),
    "keys": (0, "the port of the keys"),
    "nokeys": (0, "the bits that tell nothing of them"),
    "chunks": (0, "in a step"),
    "rounds": (0, "of the loop in a chunk; 0: 256"),
    "kinds": (0, "the first kind of events"),
    "resting": (0, "what a voice has counted to at first"),
}


class Image(NamedTuple):
    """Player and song in memory."""

    origin: int
    content: bytes
    entry_points: Mapping[str, int]
    """Addresses: ``start``, ``step``, ``stop``, and ``border``, the byte of the port's other bits."""
    code_bytes: int
    song_bytes: int
    symbols: Mapping[str, int]


def binary(
    sheet: Sheet,
    engine: Engine,
    origin: int = DEFAULT_ORIGIN,
    entries: Sequence[str] = ENTRIES,
) -> Image:
    """Return player and song as bytes that run at an address.

    Parameters
    ----------
    sheet, engine
        What to play; an engine that the player plays (``twin-phase``, ``twin-counter``).
    origin
        The address of the first byte, 8000h or higher.
    entries
        Which of the `ENTRIES` there are, in any order; code that only others use is left out.

    Raises
    ------
    SheetError
        If the engine can't play the sheet, or the song doesn't fit into memory.
    SettingsError
        If the engine has no player, or the address is too low.
    UsageError
        If there is no such entry, or none that plays.
    """
    assembled = assemble(assembly(sheet, engine, origin, entries))
    code = assembled.symbols["song"] - origin
    content = assembled.content
    return Image(
        origin,
        content,
        _entry_points(assembled.symbols, entries),
        code,
        len(content) - code,
        assembled.symbols,
    )


def assembly(
    sheet: Sheet,
    engine: Engine,
    origin: int = DEFAULT_ORIGIN,
    entries: Sequence[str] = ENTRIES,
    prefix: str = "",
) -> str:
    """Return player and song as a source that common Z80 assemblers read unchanged.

    All labels begin with the prefix, so that the sources of two songs can be assembled together.

    Raises
    ------
    SheetError, SettingsError, UsageError
        See `binary`; `UsageError` if the prefix is no beginning of a label, too.
    """
    if engine.profile.player != "z80":
        raise SettingsError(
            f"there is no Z80 player for {engine.name}",
            remedy="choose twin-phase or twin-counter; or export data, json or c",
        )
    if not SLOW_MEMORY_END <= origin < _MEMORY_END:
        raise UsageError(f"the player can't lie at {origin:#06x}", remedy="choose 0x8000 or higher")
    _check_entries(entries)
    if prefix and not _PREFIX.fullmatch(prefix):
        raise UsageError(
            f"{prefix!r} can't begin a label",
            remedy="choose lower-case letters, digits and _, a letter first",
        )
    song = pack(sheet, engine)
    wanted = _parts(engine, entries, drums=bool(song.drums))
    room = min(engine.memory_bytes, _MEMORY_END - origin) - len(
        _code(engine.method, wanted).content
    )
    if song.bytes > room:
        raise SheetError(
            f"the song takes {song.bytes:,} bytes, and {max(room, 0):,} are free",
            remedy="choose a lower address, split the piece, or choose a longer step",
        )
    code = _code(engine.method, wanted)
    points = {name: origin + place for name, place in _entry_points(code.symbols, entries).items()}
    head = _HEAD.format(
        title=_comment(sheet.title) or "A piece",
        clock=engine.clock_hz,
        engine=_comment(engine.name),
        calls=_calls(song, engine, points),
        border=points["border"],
        speaker=engine.profile.port.speaker,
        port=engine.profile.port.number,
    )
    constants = _constants(engine, step_length(sheet, engine).setting, song)
    parts = (
        head,
        f"        org     {origin}\n",
        "".join(f"{line}\n" for line in constants),
        player_source(engine.method, wanted),
        "".join(f"{line}\n" for line in _song(song)),
    )
    return _prefixed("\n".join(parts), prefix)


def _check_entries(entries: Sequence[str]) -> None:
    strange = [name for name in entries if name not in ENTRIES]
    if strange:
        raise UsageError(
            f"the player has no entry {strange[0]!r}", remedy=f"choose of {', '.join(ENTRIES)}"
        )
    if not {"start", "step"} & {*entries}:
        raise UsageError("nothing could play the piece", remedy="add start or step to the entries")


def _calls(song: PackedSong, engine: Engine, points: Mapping[str, int]) -> str:
    """Return what to call for what."""
    ends = "it ends by itself" if song.loop is None else "it goes round"
    key = "any key stops it" if engine.profile.port.key_mask else "no key stops it"
    what = {
        "start": f"to play ({ends}; {key})",
        "step": "to play one step and come back",
        "stop": "for silence",
    }
    return ",\n; ".join(f"{points[name]} {text}" for name, text in what.items() if name in points)


def _entry_points(symbols: Mapping[str, int], entries: Sequence[str]) -> dict[str, int]:
    """Return where to call the player, and the byte that holds the port's other bits."""
    return {
        name: symbols[name] for name in (*ENTRIES, "border") if name in entries or name == "border"
    }


def _prefixed(source: str, prefix: str) -> str:
    """Return a source with something before each of its labels, where it is named too."""
    if not prefix:
        return source
    labels = "|".join(re.findall(r"^(\w+):", source, re.MULTILINE))
    named = re.compile(rf"\b(?:{labels})\b")
    lines = (line.partition(";") for line in source.splitlines())
    return "".join(
        named.sub(lambda match: prefix + match[0], code) + mark + comment + "\n"
        for code, mark, comment in lines
    )


def _parts(engine: Engine, entries: Sequence[str], *, drums: bool) -> frozenset[str]:
    """Return which parts of the source that may be left out are wanted."""
    keys = ("keys",) if engine.profile.port.key_mask else ()
    silence = ("silence",) if {"step", "stop"} & {*entries} else ()
    return frozenset((*entries, *keys, *silence, *(("drums",) if drums else ())))


def _constants(engine: Engine, step_passes: int, song: PackedSong) -> Iterator[str]:
    chunks, passes = chunking(step_passes)
    port = engine.profile.port
    values = {name: value for name, (value, _note) in _CONSTANTS.items()} | {
        "port": port.number,
        "speaker": port.speaker_bit,
        "idle": port.idle,
        "keys": port.key_port,
        "nokeys": 255 - port.key_mask,
        "chunks": chunks,
        "rounds": passes - 2 & 0xFF,
        "kinds": FIRST_PHRASE + len(song.phrases),
        "resting": 0x100 if engine.method == "counter" else 0,
    }
    for name, (_value, note) in _CONSTANTS.items():
        text = f"{name + ':':8} equ    {values[name]}"
        yield f"{text:31} ; {note}".rstrip(" ;")


def _song(song: PackedSong) -> Iterator[str]:
    yield "; ---- the song"
    yield ""
    yield "song:"
    for index, line in enumerate(song.song):
        if index == song.loop:
            yield "again:"
        yield _data("defb", line)
    if song.loop is None:
        yield "again:"
    for index, phrase in enumerate(song.phrases):
        yield f"phrase{index}:"
        yield from (_data("defb", line) for line in phrase)
    yield ""
    yield "phrases:"
    for index in range(len(song.phrases)):
        yield f"        defw    phrase{index}"
    yield "; the kinds of events"
    yield from (_data("defw", line) for line in song.kinds)
    yield "tones:"
    yield from (_data("defw", line) for line in song.tones)
    yield "drums:"
    for label, lines in song.drums:
        yield f"{label}:"
        yield from (_data("defw", line) for line in lines)
    if song.drums:
        yield "        defb    1"
    yield "; where phrases were begun, and what the voices have counted to"
    yield from ("        defw    0" for _ in range(song.depth))
    yield "places:"


def _data(directive: str, line: Line) -> str:
    text = f"        {directive}    " + ", ".join(map(str, line.values))
    return f"{text:39} ; {line.comment}".rstrip(" ;")


@cache
def _code(method: str, parts: frozenset[str]) -> Assembled:
    """Return the player by itself, at address 0, with constants that are 0."""
    constants = "".join(f"{name}: equ 0\n" for name in _CONSTANTS)
    labels = "".join(
        f"{name}:\n" for name in ("song", "again", "phrases", "tones", "drums", "places")
    )
    return assemble(constants + player_source(method, parts) + labels)


def code_bytes(engine: Engine) -> int:
    """Return the bytes of the player without a song, if nothing of it is left out."""
    return len(_code(engine.method, _parts(engine, ENTRIES, drums=True)).content)


def _comment(text: str) -> str:
    """Return text from inside a file so that it stays a comment of one short line in ASCII."""
    plain = text.encode("ascii", "backslashreplace").decode()
    return "".join(c if c.isprintable() else " " for c in plain)[:_LONGEST_COMMENT]
