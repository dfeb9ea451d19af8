"""The player of a timer channel that alternates: x86 real-mode code and the song data it reads.

The source is ``alternate_player.asm`` beside this module, for NASM. ``PLAYER`` is what it assembles
to, so that a binary can be written where no assembler is at hand; a test assembles the source and
compares. Code and data find each other by their distance, so they may lie anywhere in a segment.

Song data (little-endian words unless said otherwise): the player's own notes (20 bytes), clocks a
tick, ticks a turn, ticks a step, first count, steps, steps when going round (0: the piece ends), and
the places, from the data's first byte, of: the step to go round to, the divisors, the drums, the
steps. A divisor is a word; entry 0 is silence. A drum is a byte (1: noise) and three words: ticks,
divisor, change. A step is three bytes: divisor of voice 1, of voice 2, and drum (from 1; 0: none).
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.errors import SheetError
from arranger.sheet.played import played_steps, step_length
from arranger.sound.alternate import drum_divisors, runs

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet

SOURCE = Path(__file__).parent / "alternate_player.asm"

PLAYER = bytes.fromhex(
    "9c505351525657551e06fc0e1fe800005b81c38101b840008ec0e461880724fc0c01e661b0b6e6438b471a89"
    "4704e64288e0e642b034e64330c0e640e6408b471489470289de0377268b4f1c26a11a00263b061c007548e8"
    "6700894706e86100894708e86800518b4f188b471689471231ede88a0089c7e8ce00e8eb00ff4f1275098b47"
    "1689471283f501e2e559e2bc8b4f1e89de03772009c975b0e8a900e46124fc8a2780e40308e0e661b036e643"
    "30c0e640e640071f5d5f5e5a595b589dc3ac30e4d1e089c7037f228b01c3ac30e408c07426b207fec8f6e289"
    "c7037f2401df8a058847018b450389470c8b450589470ec74710e1ac8b450189470ac3837f0a00742eff4f0a"
    "8b470c807f0100750e89c203570e7303baffff89570cc38b5710d1ea730481f200b489571023570e01d0c38b"
    "47068b570809c0740809d2740609ed740289d0c39cfa30c0e643e44088c2e44088c69d8b470229d03b471472"
    "e78b4714294702c309ff74183b7f04740b897f0489f8e64288e0e642e46188c40c03eb06e46188c424fd38e0"
    "7402e661c3"
)

_NOTES_BYTES = 20
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
    used = {step.drum for step in steps}
    drums = [drum for drum in engine.drums if drum in used]
    divisors = [0, *(engine.pitches[pitch].setting for pitch in sounding)]

    pitches_at = _NOTES_BYTES + _HEAD.size
    drums_at = pitches_at + 2 * len(divisors)
    steps_at = drums_at + 7 * len(drums)
    size = steps_at + 3 * len(steps)
    room = min(engine.memory_bytes, _SEGMENT) - len(PLAYER)
    if size > room:
        raise SheetError(
            f"the song data takes {size} bytes, and {room} are free",
            remedy="split the piece, or choose a longer step",
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
    drum_bytes = b"".join(
        struct.pack(
            "<BHHH",
            drum.parts[0].kind == "noise",
            len(drum_divisors(drum, engine, ticks)),
            *drum.parts[0].settings,
        )
        for drum in drums
    )
    rows = bytes(
        number
        for step in steps
        for number in (
            places[step.voice1],
            places[step.voice2],
            0 if step.drum is None else 1 + drums.index(step.drum),
        )
    )
    table = struct.pack(f"<{len(divisors)}H", *divisors)
    return bytes(_NOTES_BYTES) + head + table + drum_bytes + rows


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
