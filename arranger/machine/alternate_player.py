"""The player of a timer channel that alternates: x86 real-mode code and the song data it reads.

The source is ``alternate_player.asm`` beside this module, for NASM. ``PLAYER`` is what it assembles
to, so that a binary can be written where no assembler is at hand; a test assembles the source and
compares. Code and data find each other by their distance, so they may lie anywhere in a segment.

Song data (little-endian words unless said otherwise): the player's own notes (22 bytes), clocks a
tick, ticks a turn, ticks a step, first count, steps, steps when going round (0: the piece ends), and
the places, from the data's first byte, of: the step to go round to, the divisors, the drums, the
steps. A divisor is a word; entry 0 is silence. A drum is one part or several, each a byte (bit 0:
noise, bit 1: another part follows) and three words: ticks, divisor, change. A step is three bytes:
divisor of voice 1, of voice 2, and the first part of its drum (all parts counted, from 1; 0: none).
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.errors import SheetError
from arranger.sheet.played import drums_in_use, played_steps, step_length
from arranger.sound.alternate import part_ticks, runs

if TYPE_CHECKING:
    from arranger.engine.model import DrumSound, Engine
    from arranger.sheet.model import Sheet

SOURCE = Path(__file__).parent / "alternate_player.asm"

PLAYER = bytes.fromhex(
    "9c505351525657551e06fc0e1fe800005b81c39601b840008ec0e461880724fc0c01e661b0b6e6438b471c89"
    "4704e64288e0e642b034e64330c0e640e6408b471689470289de0377288b4f1e26a11a00263b061c007548e8"
    "6700894706e86100894708e86800518b4f1a8b471889471231ede8900089c7e8e300e80001ff4f1275098b47"
    "1889471283f501e2e559e2bc8b4f2089de03772209c975b0e8be00e46124fc8a2780e40308e0e661b036e643"
    "30c0e640e640071f5d5f5e5a595b589dc3ac30e4d1e089c7037f248b01c3ac30e408c0742cb207fec8f6e289"
    "c7037f2601df8a058847018b450389470c8b450589470ec74710e1ac8b450183c707897f1489470ac3837f0a"
    "00750cf647010274378b7f14e8cbffff4712ff4f0a8b470cf6470101750e89c203570e7303baffff89570cc3"
    "8b5710d1ea730481f200b489571023570e01d0c38b47068b570809c0740809d2740609ed740289d0c39cfa30"
    "c0e643e44088c2e44088c69d8b470229d03b471672e78b4716294702c309ff74183b7f04740b897f0489f8e6"
    "4288e0e642e46188c40c03eb06e46188c424fd38e07402e661c3"
)

_NOTES_BYTES = 22
_PART = struct.Struct("<BHHH")
_MOST_PARTS = 255
_HEAD = struct.Struct("<10H")
_SEGMENT = 0x10000
_A_LINE = 16


def song_data(sheet: Sheet, engine: Engine) -> bytes:
    """Return the song data that the player reads; see the module for its layout.

    Raises
    ------
    SheetError
        If the engine can't play the sheet, or the data doesn't fit the engine's memory.
    """
    steps = played_steps(sheet, engine)
    clocks = engine.profile.loop.cycles
    ticks = step_length(sheet, engine).cycles // clocks
    sounding = sorted(
        {voice for step in steps for voice in (step.voice1, step.voice2) if voice is not None}
    )
    places = {None: 0} | {pitch: index for index, pitch in enumerate(sounding, 1)}
    drums: dict[DrumSound | None, int] = {None: 0}
    parts = b""
    for drum in drums_in_use(steps):
        drums[drum] = len(parts) // _PART.size + 1
        parts += _drum_bytes(drum, engine, ticks)
    divisors = [0, *(engine.pitches[pitch].setting for pitch in sounding)]

    pitches_at = _NOTES_BYTES + _HEAD.size
    drums_at = pitches_at + 2 * len(divisors)
    steps_at = drums_at + len(parts)
    size = steps_at + 3 * len(steps)
    room = min(engine.memory_bytes, _SEGMENT) - len(PLAYER)
    if size > room:
        raise SheetError(
            f"the song data takes {size} bytes, and {room} are free",
            remedy="split the piece, or choose a longer step",
        )
    if max(drums.values()) > _MOST_PARTS:
        raise SheetError(
            f"its drum sounds have more than {_MOST_PARTS} parts", remedy="use fewer drum sounds"
        )
    again = 0 if sheet.loop_step is None else len(steps) - sheet.loop_step
    first = next((run.divisor for run in runs(sheet, engine) if run.divisor), 2)
    head = _HEAD.pack(
        clocks,
        engine.profile.loop.turn,
        ticks,
        first,
        len(steps),
        again,
        steps_at + 3 * (sheet.loop_step or 0),
        pitches_at,
        drums_at,
        steps_at,
    )
    rows = bytes(
        number
        for step in steps
        for number in (places[step.voice1], places[step.voice2], drums[step.drum])
    )
    table = struct.pack(f"<{len(divisors)}H", *divisors)
    return bytes(_NOTES_BYTES) + head + table + parts + rows


def _drum_bytes(drum: DrumSound, engine: Engine, ticks: int) -> bytes:
    """Return the parts of a drum for which a step of so many ticks has room."""
    parts = part_ticks(drum, engine, ticks)
    return b"".join(
        _PART.pack(
            (part.kind == "noise") | 2 * (number < len(parts)), length, *(*part.settings, 0, 0)[:2]
        )
        for number, (part, length) in enumerate(parts, 1)
    )


def binary(sheet: Sheet, engine: Engine) -> bytes:
    """Return player and song as bytes that run wherever they lie in a segment.

    Raises
    ------
    SheetError
        See `song_data`.
    """
    return PLAYER + song_data(sheet, engine)


def assembly(sheet: Sheet, engine: Engine) -> str:
    """Return player and song as one source for NASM.

    Raises
    ------
    SheetError
        See `song_data`.
    """
    data = song_data(sheet, engine)
    lines = (
        "        db      " + ", ".join(map(str, data[start : start + _A_LINE]))
        for start in range(0, len(data), _A_LINE)
    )
    return SOURCE.read_text(encoding="utf-8") + "\n".join(lines) + "\n"
