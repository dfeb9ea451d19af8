"""The Z80 player with songs: source text and bytes at an address.

The text is the player's (`arranger.machine.player_source`), then the songs
(`arranger.machine.song_source`). What is assembled from it is what is exported.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SettingsError, SheetError, UsageError
from arranger.machine.assembler import assemble
from arranger.machine.packing import STACK_WORDS
from arranger.machine.player_source import player_source
from arranger.machine.song_source import (
    LABELS,
    effect_lines,
    header_lines,
    player_song,
    song_lines,
    stack_lines,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from arranger.engine.model import Engine
    from arranger.machine.assembler import Assembled
    from arranger.machine.song_source import PlayerSong
    from arranger.sheet.model import Sheet

ENTRIES = ("start", "step", "stop")
"""Ways to call the player that there are unless others are asked for."""
ALL_ENTRIES = (*ENTRIES, "open")
PARTS = ("player", "songs")
"""What can be had by itself, for programs that load them apart."""
DEFAULT_ORIGIN = 0x8000
SLOW_MEMORY_END = 0x8000
"""Below, some machines let the screen have the memory first, which would slow the player down."""

FIRST_WRITE_CYCLES = 366
"""From a call of ``start`` to cycle 0 of `arranger.sound.signal.edges`, if no key is down (tested).

33 cycles fewer where no key stops the player; other if entries are left out.
"""
OPEN_WORDS = 16
"""Words of the player's stack that are left to the interrupts' routine, where they stay on."""

_MEMORY_END = 0x10000
_MOST_PLACES = 16
"""Phrases in phrases that a player by itself has room for; more were never met."""
_MOST_SONGS = 128
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
"""
_PLAYER_HEAD = """\
; Call {calls}.
; The speaker is bit {speaker} of port {port}; set the byte at {border} to what the other bits
; shall be, so that the border stays as it is: it counts from the beginning of a piece on. Place the
; player where the processor has the memory for itself.
;
; Cycles stand beside each instruction (Z80 CPU User Manual, UM0080), without the waiting states
; that a machine may add at the port. A jump to the next line is a pause.
;
"""
_CONSTANTS = {
    "port": "",
    "speaker": "the bit of the port that moves the speaker",
    "idle": "its other bits at first",
    "keys": "the port of the keys",
    "nokeys": "the bits that tell nothing of them",
    "chunks": "in a step",
    "rounds": "of the loop in a chunk; 0: 256",
    "kinds": "the first kind of events",
    "resting": "what a voice has counted to at first",
}


class Build(NamedTuple):
    """What is wanted of the player."""

    origin: int = DEFAULT_ORIGIN
    """The address of the first byte, 8000h or higher."""
    entries: Sequence[str] = ENTRIES
    """Of `ALL_ENTRIES`, in any order; code that only others use is left out."""
    part: str = ""
    """One of `PARTS`; "": all. A player by itself is for any songs with the drums of those given."""
    effects: Sequence[str] = ()
    """Drum sounds that a program plays by themselves, by name."""
    prefix: str = ""
    """What all labels begin with, so that sources can be assembled together."""


class Image(NamedTuple):
    """Player and songs in memory."""

    origin: int
    content: bytes
    entry_points: Mapping[str, int]
    """Addresses to call; ``border``, the byte of the port's other bits; ``list``, the word that says
    where the songs are; ``songs``, where they are."""
    code_bytes: int
    song_bytes: int
    """Of all songs, the player's stack included where it lies behind them."""
    symbols: Mapping[str, int]


def build(sheets: Sequence[Sheet], engine: Engine, wanted: Build) -> Image:
    """Return player and songs as bytes that run at an address.

    ``sheets``, ``engine``: what to play; an engine that the player plays (``twin-phase``,
    ``twin-counter``).

    Raises `SheetError` if the engine can't play a sheet, or the songs don't fit into memory;
    `SettingsError` if the engine has no player, or no such drum sound; `UsageError` if there is no
    such entry or part, none that plays, the address is too low, or the prefix is no beginning of a
    label.
    """
    assembled = assemble(source(sheets, engine, wanted._replace(prefix="")))
    symbols, content = assembled.symbols, assembled.content
    code = symbols.get("player_ends", wanted.origin) - wanted.origin
    points = {name: symbols[name] for name in points_of(len(sheets), wanted)}
    return Image(wanted.origin, content, points, code, len(content) - code, symbols)


def source(sheets: Sequence[Sheet], engine: Engine, wanted: Build) -> str:
    """Return player and songs as a source that common Z80 assemblers read unchanged.

    Raises as `build`.
    """
    _check(engine, len(sheets), wanted)
    songs = [player_song(sheet, engine) for sheet in sheets]
    return _prefixed("\n".join([*_lines(songs, engine, wanted), ""]), wanted.prefix)


def _lines(songs: Sequence[PlayerSong], engine: Engine, wanted: Build) -> Iterator[str]:
    has_code = wanted.part != "songs"
    code = _code(engine.method, _parts(engine, songs, wanted)) if has_code else None
    effects = [*effect_lines(wanted.effects, engine)] if wanted.effects else []
    words = _stack_words(songs, wanted)
    _check_room(songs, engine, wanted, 0 if code is None else len(code.content) + 2 * words)
    yield from _heads(songs, engine, wanted, code)
    yield f"        org     {wanted.origin}\n"
    if has_code:
        yield from _constants(engine, None if wanted.part else songs[0])
        yield ""
        yield player_source(engine.method, _parts(engine, songs, wanted))
        yield from effects
        yield "player_ends:"
    if wanted.part != "player":
        yield from _song_lines(songs, wanted)
    if has_code:
        yield from stack_lines(words)


def _song_lines(songs: Sequence[PlayerSong], wanted: Build) -> Iterator[str]:
    """Yield the songs, and the table of what is each one's own if there is a choice."""
    names = ["", *(f"song{number}_" for number in range(2, len(songs) + 1))]
    yield "; ---- the song" if len(songs) == 1 else "; ---- the songs"
    yield ""
    if _choice(len(songs), wanted):
        yield "songs:"
        yield from (f"        defw    {name}header" for name in names)
        for name, song in zip(names, songs, strict=True):
            yield from header_lines(song, name)
    for name, song in zip(names, songs, strict=True):
        if len(songs) > 1:
            yield f"; {_comment(song.title)}"
        yield from song_lines(song, name)


def _choice(songs: int, wanted: Build) -> bool:
    return songs > 1 or bool(wanted.part)


def points_of(songs: int, wanted: Build) -> list[str]:
    """Return the labels that a program needs, in the order in which they are told."""
    choice = _choice(songs, wanted)
    if wanted.part == "songs":
        return ["songs"]
    found = [name for name in ALL_ENTRIES if name in wanted.entries]
    found += ["choose"] * choice + ["effect"] * bool(wanted.effects) + ["border"]
    return found + ["list"] * choice + ["songs"] * (choice and not wanted.part)


def _parts(engine: Engine, songs: Sequence[PlayerSong], wanted: Build) -> frozenset[str]:
    """Return which parts of the source that may be left out are wanted."""
    found = {*wanted.entries}
    found |= {"keys"} if engine.profile.port.key_mask else set()
    found |= {"drums"} if wanted.effects or any(song.packed.drums for song in songs) else set()
    found |= {"effects"} if wanted.effects else set()
    found |= {"loop"} if any(song.packed.loop is not None for song in songs) else set()
    found |= {"choose"} if _choice(len(songs), wanted) else set()
    found |= {"step"} if "open" in found else set()
    found |= {"turns"} if {"start", "step"} <= found else set()
    found |= {"silence"} if found & {"step", "stop", "choose"} else set()
    found |= {"held"} if found & {"step", "drums"} else set()
    found |= {"calls"} if found & {"step", "effects"} else set()
    return frozenset(found)


def _stack_words(songs: Sequence[PlayerSong], wanted: Build) -> int:
    deepest = max(song.packed.depth for song in songs)
    if wanted.part and deepest > STACK_WORDS + _MOST_PLACES:
        raise SheetError(
            "its phrases are in each other more often than a player by itself has room for",
            remedy="export player and songs together",
        )
    words = STACK_WORDS + _MOST_PLACES if wanted.part else deepest
    return words + OPEN_WORDS * ("open" in wanted.entries)


def _check(engine: Engine, songs: int, wanted: Build) -> None:
    if engine.profile.player != "z80":
        raise SettingsError(
            f"there is no Z80 player for {engine.name}",
            remedy="choose twin-phase or twin-counter; or export data, json or c",
        )
    if not SLOW_MEMORY_END <= wanted.origin < _MEMORY_END:
        raise UsageError(
            f"the player can't lie at {wanted.origin:#06x}", remedy="choose 0x8000 or higher"
        )
    strange = [name for name in wanted.entries if name not in ALL_ENTRIES]
    if strange:
        raise UsageError(
            f"the player has no entry {strange[0]!r}", remedy=f"choose of {', '.join(ALL_ENTRIES)}"
        )
    if not {"start", "step", "open"} & {*wanted.entries}:
        raise UsageError("nothing could play the piece", remedy="add start or step to the entries")
    if wanted.part not in ("", *PARTS):
        raise UsageError(
            f"there is no part {wanted.part!r}", remedy=f"choose of {', '.join(PARTS)}"
        )
    if songs > _MOST_SONGS:
        raise UsageError(f"the player chooses of {_MOST_SONGS} songs", remedy="leave songs out")
    if wanted.prefix and not _PREFIX.fullmatch(wanted.prefix):
        raise UsageError(
            f"{wanted.prefix!r} can't begin a label",
            remedy="choose lower-case letters, digits and _, a letter first",
        )


def _check_room(songs: Sequence[PlayerSong], engine: Engine, wanted: Build, player: int) -> None:
    """Refuse songs for which the memory is too small, beside so many bytes of the player."""
    needed = 0 if wanted.part == "player" else sum(song.bytes for song in songs)
    room = min(engine.memory_bytes, _MEMORY_END - wanted.origin) - player
    if needed > room:
        what = "the song takes" if len(songs) == 1 else "the songs take"
        raise SheetError(
            f"{what} {needed:,} bytes, and {max(room, 0):,} are free",
            remedy="choose a lower address, split the piece, or choose a longer step",
        )


def _heads(
    songs: Sequence[PlayerSong], engine: Engine, wanted: Build, code: Assembled | None
) -> Iterator[str]:
    titles = "; ".join(song.title for song in songs if song.title)
    yield _HEAD.format(
        title=_comment(titles) or "A piece", clock=engine.clock_hz, engine=_comment(engine.name)
    ).rstrip("\n")
    if code is None:
        return
    places = {name: wanted.origin + place for name, place in code.symbols.items()}
    yield _PLAYER_HEAD.format(
        calls=_calls(songs, engine, wanted, places),
        border=places["border"],
        speaker=engine.profile.port.speaker,
        port=engine.profile.port.number,
    )


def _calls(
    songs: Sequence[PlayerSong], engine: Engine, wanted: Build, places: Mapping[str, int]
) -> str:
    """Return what to call for what."""
    ends = {song.packed.loop is None for song in songs}
    how = "" if len(ends) > 1 else "it ends by itself; " if True in ends else "it goes round; "
    key = "any key stops it" if engine.profile.port.key_mask else "no key stops it"
    what = {
        "start": f"to play ({how}{key})",
        "step": "to play one step and come back",
        "stop": "for silence",
        "open": "to play one step with interrupts as they are",
        "choose": "with the number of a song in A, from 0, for another song",
        "effect": "with a number in A for a drum sound by itself",
    }
    points = [name for name in points_of(len(songs), wanted) if name in what]
    return ",\n; ".join(f"{places[name]} {what[name]}" for name in points)


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


def _constants(engine: Engine, song: PlayerSong | None) -> Iterator[str]:
    """Yield what the player counts with; without a song what stands there until one is chosen."""
    port = engine.profile.port
    values = {
        "port": port.number,
        "speaker": port.speaker_bit,
        "idle": port.idle,
        "keys": port.key_port,
        "nokeys": 255 - port.key_mask,
        "chunks": 1 if song is None else song.chunks,
        "rounds": 16 if song is None else song.rounds,
        "kinds": 2 if song is None else song.kinds,
        "resting": 0x100 if engine.method == "counter" else 0,
    }
    for name, note in _CONSTANTS.items():
        text = f"{name + ':':8} equ    {values[name]}"
        yield f"{text:31} ; {note}".rstrip(" ;")
    if song is None:
        yield from (f"{name + ':':8} equ    {value}" for name, value in LABELS.items())
        yield "songs:   equ    0"


@cache
def _code(method: str, parts: frozenset[str]) -> Assembled:
    """Return the player by itself, at address 0, with constants that are 0."""
    constants = "".join(f"{name}: equ 0\n" for name in _CONSTANTS)
    labels = "".join(f"{name}:\n" for name in (*LABELS, "places", "songs", "effects"))
    return assemble(constants + player_source(method, parts) + labels)


def code_bytes(engine: Engine) -> int:
    """Return the bytes of the player of one song, if nothing of it is left out."""
    keys = {"keys"} if engine.profile.port.key_mask else set()
    parts = frozenset((*ENTRIES, *keys, "drums", "loop", "silence", "calls", "turns", "held"))
    return len(_code(engine.method, parts).content)


def _comment(text: str) -> str:
    """Return text from inside a file so that it stays a comment of one short line in ASCII."""
    plain = text.encode("ascii", "backslashreplace").decode()
    return "".join(c if c.isprintable() else " " for c in plain)[:_LONGEST_COMMENT]
