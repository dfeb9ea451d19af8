"""The Z80 player with a song: source text and bytes at an address.

The text is ``player.asm`` beside this module with the engine's way of counting put in at each
``@voice``, ``@key`` and ``@catch``, and the lines between ``@if`` and ``@end`` left out that a build has no use for, then the song. What is assembled from it is what is exported.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.player import chunking
from arranger.errors import SettingsError, SheetError, UsageError
from arranger.machine.assembler import assemble
from arranger.machine.packing import FIRST_PHRASE, pack
from arranger.sheet.played import step_length
from arranger.sound.schedule import SILENT_PERIOD

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from arranger.engine.model import Engine
    from arranger.machine.packing import Line, PackedSong
    from arranger.sheet.model import Sheet

SOURCE = Path(__file__).parent / "player.asm"

DEFAULT_ORIGIN = 0x8000
SLOW_MEMORY_END = 0x8000
"""Below, some machines let the screen have the memory first, which would slow the player down."""

FIRST_WRITE_CYCLES = 1373
"""From a call of ``start`` to cycle 0 of `arranger.sound.signal.edges`, if no key is down (tested).

33 cycles fewer where no key stops the player.
"""

_MEMORY_END = 0x10000
_LONGEST_COMMENT = 100

_COUNT = {
    "phase": (
        ("add     hl,de", "11"),
        ("sbc     a,a", "4"),
        ("and     speaker", "7"),
        ("xor     c", "4"),
        ("ld      c,a", "4   30: the voice flips when its phase overflows"),
    ),
    "counter": (
        ("dec     h", "4"),
        ("jp      nz,keep@", "10"),
        ("ld      h,e", "4"),
        ("ld      a,c", "4"),
        ("xor     d", "4"),
        ("ld      c,a", "4   30: the voice flips when its count is down"),
    ),
}
_CATCH = {
    "phase": (
        ("ex      de,hl", "4"),
        ("push    hl", "11"),
        ("add     hl,hl", "11"),
        ("add     hl,hl", "11"),
        ("ex      de,hl", "4"),
        ("add     hl,de", "11"),
        ("sbc     a,a", "4"),
        ("add     hl,de", "11"),
        ("sbc     a,0", "7"),
        ("pop     de", "10"),
        ("rra", "4   an odd number of overflows?"),
        ("sbc     a,a", "4"),
        ("and     speaker", "7"),
        ("xor     c", "4"),
        ("ld      c,a", "4   107"),
    ),
    "counter": (
        *(("push    hl", "11"), ("pop     hl", "10")) * 2,
        ("nop", "4"),
        ("ld      a,0", "7"),
        ("ld      a,h", "4"),
        ("sub     9", "7"),
        ("jr      nc,more@", "7   or 12"),
        ("add     a,e", "4"),
        ("inc     a", "4"),
        ("ld      h,a", "4"),
        ("ld      a,c", "4"),
        ("xor     d", "4"),
        ("ld      c,a", "4"),
        ("jr      caught@", "12  107"),
        ("more@:", ""),
        ("inc     a", "4"),
        ("ld      h,a", "4"),
        ("nop", "4"),
        ("ld      a,0", "7"),
        ("jr      caught@", "12  107 here as well"),
        ("caught@:", ""),
    ),
}
"""Eight passes counted at once."""
_KEY = {
    "phase": (
        ("add     hl,de", "11"),
        ("jr      c,flip@", "7   or 12"),
        ("xor     a", "4"),
        ("in      a,(keys)", "11"),
        ("or      nokeys", "7"),
        ("ld      b,a", "4   255: no key"),
        ("ld      a,c", "4"),
    ),
    "counter": (
        ("dec     h", "4"),
        ("jp      z,flip@", "10"),
        ("nop", "4"),
        ("xor     a", "4"),
        ("in      a,(keys)", "11"),
        ("or      nokeys", "7"),
        ("ld      b,a", "4   255: no key"),
        ("ld      a,c", "4"),
    ),
}
"""A voice counts, and where it doesn't flip the keys are read: 30 + 18 cycles without EXX."""
_FLIP = {
    "phase": (
        ("ld      a,c", "4"),
        ("xor     speaker", "7"),
        ("ld      c,a", "4"),
        ("jp      read@", "10  30 + 18 here as well"),
    ),
    "counter": (
        ("ld      h,e", "4"),
        ("ld      a,c", "4"),
        ("xor     d", "4"),
        ("ld      c,a", "4"),
        ("nop", "4"),
        ("nop", "4"),
        ("jp      read@", "10  30 + 18 here as well"),
    ),
}
_DEAF = (("ld      a,0", "7"), ("ld      a,0", "7"), ("nop", "4   = 18"))
_KEEP = (("ld      a,c", "4"), ("jr      counted@", "12  30 here as well"))

_HEAD = """\
; {title}
; Two voices and drums for one speaker pin, on a Z80 at {clock} Hz; engine {engine}.
;
; Loudness: keep the volume low at first; square waves are harsh to ears and small speakers. A pin that
; drives a speaker directly needs a resistor or a driver stage: follow the local rules and the advice of
; people qualified for the hardware.
;
; Call {start} to play ({ends}; {keys}), {step} to play one step and come back,
; {stop} for silence. The speaker is bit {speaker} of port {port}; set the byte at {border} to what the other bits
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
    "rounds": (0, "of the loop in a chunk"),
    "kinds": (0, "the first kind of events"),
    "silence": (0, "what a silent voice counts with"),
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


def binary(sheet: Sheet, engine: Engine, origin: int = DEFAULT_ORIGIN) -> Image:
    """Return player and song as bytes that run at an address.

    Parameters
    ----------
    sheet, engine
        What to play; an engine that the player plays (``twin-phase``, ``twin-counter``).
    origin
        The address of the first byte, 8000h or higher.

    Raises
    ------
    SheetError
        If the engine can't play the sheet, or the song doesn't fit into memory.
    SettingsError
        If the engine has no player, or the address is too low.
    """
    assembled = assemble(assembly(sheet, engine, origin))
    code = assembled.symbols["song"] - origin
    content = assembled.content
    return Image(
        origin,
        content,
        _entry_points(origin),
        code,
        len(content) - code,
        assembled.symbols,
    )


def assembly(sheet: Sheet, engine: Engine, origin: int = DEFAULT_ORIGIN) -> str:
    """Return player and song as a source that common Z80 assemblers read unchanged.

    Raises
    ------
    SheetError, SettingsError
        See `binary`.
    """
    if engine.profile.player != "z80":
        raise SettingsError(
            f"there is no Z80 player for {engine.name}",
            remedy="choose twin-phase or twin-counter; or export data, json or c",
        )
    if not SLOW_MEMORY_END <= origin < _MEMORY_END:
        raise UsageError(f"the player can't lie at {origin:#06x}", remedy="choose 0x8000 or higher")
    song = pack(sheet, engine)
    room = min(engine.memory_bytes, _MEMORY_END - origin) - code_bytes(engine)
    if song.bytes > room:
        raise SheetError(
            f"the song takes {song.bytes:,} bytes, and {max(room, 0):,} are free",
            remedy="choose a lower address, split the piece, or choose a longer step",
        )
    head = _HEAD.format(
        title=_comment(sheet.title) or "A piece",
        clock=engine.clock_hz,
        engine=_comment(engine.name),
        **_entry_points(origin),
        ends="it ends by itself" if song.loop is None else "it goes round",
        keys="any key stops it" if engine.profile.port.key_mask else "no key stops it",
        speaker=engine.profile.port.speaker,
        port=engine.profile.port.number,
    )
    constants = _constants(engine, step_length(sheet, engine).setting, song)
    parts = (
        head,
        f"        org     {origin}\n",
        "".join(f"{line}\n" for line in constants),
        player_source(engine.method, _parts(engine)),
        "".join(f"{line}\n" for line in _song(song)),
    )
    return "\n".join(parts)


def _entry_points(origin: int) -> dict[str, int]:
    """Return where to call the player, and the byte that holds the port's other bits."""
    return {"start": origin, "step": origin + 3, "stop": origin + 6, "border": origin + 9}


def _parts(engine: Engine) -> frozenset[str]:
    """Return which parts of the source that may be left out are wanted."""
    return frozenset({"keys"} if engine.profile.port.key_mask else ())


@cache
def player_source(method: str, parts: frozenset[str]) -> str:
    """Return the player's source for a way of counting, "phase" or "counter", with some parts."""
    return "".join(f"{line}\n" for line in _expanded(method, parts))


def _wanted(parts: frozenset[str]) -> Iterator[str]:
    """Yield the lines of the source that belong to some parts, or to all."""
    wanted = True
    for line in SOURCE.read_text(encoding="utf-8").splitlines():
        word, _, part = line.partition(" ")
        if word == "@if":
            wanted = part in parts
        elif word == "@else":
            wanted = not wanted
        elif word == "@end":
            wanted = True
        elif wanted:
            yield line


def _expanded(method: str, parts: frozenset[str]) -> Iterator[str]:
    """Yield the lines of the source with each directive replaced."""
    number = 0
    stubs: list[str] = []
    for line in _wanted(parts):
        word, _, voice = line.strip().partition(" ")
        if word == "@key" and "keys" in parts:
            number += 1
            yield from _lines(_KEY[method], number)
            yield f"read{number}:"
            stubs += [f"flip{number}:", *_lines(_FLIP[method], number)]
        elif word in ("@voice", "@key"):
            number += 1
            if word == "@key":
                yield from _lines(_DEAF, number)
            yield from _lines(_COUNT[method], number, f"  voice {voice or '1'}")
            if method == "counter":
                yield f"counted{number}:"
                stubs += [f"keep{number}:", *_lines(_KEEP, number)]
        elif word == "@catch":
            number += 1
            yield from _lines(_CATCH[method], number)
        elif word == "@stubs":
            yield from stubs
            stubs = []
        else:
            yield line


def _lines(entries: Iterable[tuple[str, str]], number: int, note: str = "") -> Iterator[str]:
    """Yield lines of the source with a number in their labels; a note goes to the first."""
    for instruction, cycles in entries:
        text = instruction.replace("@", str(number))
        yield text if text.endswith(":") else f"        {text:23} ; {cycles}{note}"
        note = ""


def _constants(engine: Engine, step_passes: int, song: PackedSong) -> Iterator[str]:
    chunks, passes = chunking(step_passes)
    counter = engine.method == "counter"
    port = engine.profile.port
    values = {name: value for name, (value, _note) in _CONSTANTS.items()} | {
        "port": port.number,
        "speaker": port.speaker_bit,
        "idle": port.idle,
        "keys": port.key_port,
        "nokeys": 255 - port.key_mask,
        "chunks": chunks,
        "rounds": passes - 3,
        "kinds": FIRST_PHRASE + len(song.phrases),
        "silence": SILENT_PERIOD if counter else 0,
        "resting": 0x500 if counter else 0,
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
    yield "; where phrases were begun"
    yield from ("        defw    0" for _ in range(song.depth))
    yield "places:"


def _data(directive: str, line: Line) -> str:
    text = f"        {directive}    " + ", ".join(map(str, line.values))
    return f"{text:39} ; {line.comment}".rstrip(" ;")


@cache
def _code_bytes(method: str, parts: frozenset[str]) -> int:
    constants = "".join(f"{name}: equ 0\n" for name in _CONSTANTS)
    labels = "".join(
        f"{name}:\n" for name in ("song", "again", "phrases", "tones", "drums", "places")
    )
    return len(assemble(constants + player_source(method, parts) + labels).content)


def code_bytes(engine: Engine) -> int:
    """Return the bytes of the player without a song."""
    return _code_bytes(engine.method, _parts(engine))


def _comment(text: str) -> str:
    """Return text from inside a file so that it stays a comment of one short line in ASCII."""
    plain = text.encode("ascii", "backslashreplace").decode()
    return "".join(c if c.isprintable() else " " for c in plain)[:_LONGEST_COMMENT]
