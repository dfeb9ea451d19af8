"""Songs as source text for the Z80 player: their bytes and tables, and what is each song's own.

What a song changes in the player is a few bytes in its instructions. A player of one song has them from
the start; where there are several, a song has them in a header, in the order of `HEADER`, and the player's
``choose`` puts them in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.player_check import PASS_CYCLES, chunking
from arranger.errors import SettingsError, did_you_mean
from arranger.machine.packing import FIRST_PHRASE, drum_words, pack
from arranger.sheet.played import step_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.engine.model import Engine
    from arranger.machine.packing import DataLine, PackedSong
    from arranger.sheet.model import Sheet

LABELS = {"song": 0, "again": 0, "phrases": 4, "tones": 0, "drums": 8}
"""Of a song's text: what the player names; and what stands there before a song is chosen."""

HEADER = (
    ("defb", "{chunks}, {chunks}, {chunks}, {chunks}, {rounds}"),
    ("defb", "{rounds}-9, {rounds}-1, {kinds}"),
    ("defw", "{name}song, {name}again, {name}phrases-4, {name}tones, {name}drums-8"),
)
"""What is each song's own, as the list of patches in the player's source has it."""


class PlayerSong(NamedTuple):
    """A song for the player."""

    title: str
    packed: PackedSong
    chunks: int
    """In a step."""
    rounds: int
    """Of the sound loop in a chunk; 0: 256."""

    @property
    def kinds(self) -> int:
        """The byte of its first kind of events."""
        return FIRST_PHRASE + len(self.packed.phrases)

    @property
    def bytes(self) -> int:
        """What it takes, room for the player's stack not counted."""
        return self.packed.bytes - 2 * self.packed.depth


def player_song(sheet: Sheet, engine: Engine) -> PlayerSong:
    """Return a sheet as a song for the player; raises as `arranger.machine.packing.pack`."""
    chunks, passes = chunking(step_length(sheet, engine).setting)
    return PlayerSong(sheet.title, pack(sheet, engine), chunks, passes - 2 & 0xFF)


def header_lines(song: PlayerSong, name: str) -> Iterator[str]:
    """Yield a song's header; ``name`` is what its labels begin with."""
    yield f"{name}header:"
    values = {"chunks": song.chunks, "rounds": song.rounds, "kinds": song.kinds, "name": name}
    for kind, text in HEADER:
        yield f"        {kind}    {text.format_map(values)}"


def song_lines(song: PlayerSong, name: str = "") -> Iterator[str]:
    """Yield a song's bytes and tables."""
    packed = song.packed
    yield f"{name}song:"
    for index, line in enumerate(packed.song):
        if index == packed.loop:
            yield f"{name}again:"
        yield _data("defb", line)
    if packed.loop is None:
        yield f"{name}again:"
    for index, phrase in enumerate(packed.phrases):
        yield f"{name}phrase{index}:"
        yield from (_data("defb", line) for line in phrase)
    yield ""
    yield f"{name}phrases:"
    for index in range(len(packed.phrases)):
        yield f"        defw    {name}phrase{index}"
    yield "; the kinds of events"
    yield from (_data("defw", line) for line in packed.kinds)
    yield f"{name}tones:"
    yield from (_data("defw", line) for line in packed.tones)
    yield f"{name}drums:"
    for label, lines in packed.drums:
        yield f"{name}{label}:"
        yield from (_data("defw", line) for line in lines)
    if packed.drums:
        yield "        defb    1"


def stack_lines(words: int) -> Iterator[str]:
    """Yield room for the player's stack."""
    yield "; where phrases were begun, and what the voices have counted to"
    yield from ("        defw    0" for _ in range(words))
    yield "places:"


def effect_lines(names: Sequence[str], engine: Engine) -> Iterator[str]:
    """Yield the table of drum sounds that a program plays by themselves.

    Raises `SettingsError` if the engine has no such sound, or one without a length.
    """
    yield "effects:"
    for _number, name, lines in _effects(names, engine):
        yield f"effect_{name.replace('-', '_')}:"
        yield from (_data("defw", line) for line in lines)
    yield "        defb    1"


def effect_numbers(names: Sequence[str], engine: Engine) -> list[tuple[int, str]]:
    """Return the number with which a program asks for each sound; raises as `effect_lines`."""
    return [(number, name) for number, name, _ in _effects(names, engine)]


def _effects(names: Sequence[str], engine: Engine) -> Iterator[tuple[int, str, list[DataLine]]]:
    sounds = {drum.name: drum for drum in engine.drums}
    number = 0
    for name in dict.fromkeys(names):
        if name not in sounds:
            hint = did_you_mean(name, sounds, f"choose of {', '.join(sounds)}")
            raise SettingsError(f"{engine.name} has no drum sound {name!r}", remedy=hint)
        if not sounds[name].cycles:
            raise SettingsError(
                f"{name} has no length: it sounds to the end of its step", remedy="choose another"
            )
        timed = [(part, -(-part.cycles // PASS_CYCLES)) for part in sounds[name].parts]
        lines = list(drum_words(name, timed, engine.profile.port.speaker_bit, 1))
        yield number, name, lines
        number += len(lines)


def _data(directive: str, line: DataLine) -> str:
    text = f"        {directive}    " + ", ".join(map(str, line.values))
    return f"{text:39} ; {line.comment}".rstrip(" ;")
