"""The player of a timer channel that alternates: x86 real-mode code and the song data it reads.

The source is ``alternate_player.asm`` beside this module, for NASM. ``PLAYER`` is what it assembles
to, so that a binary can be written where no assembler is at hand; a test assembles the source and
compares. Code and data find each other by their distance, so they may lie anywhere in a segment.

Without an address what is written is a program: ``PROGRAM``, then player and song. It runs as a file
whose name ends in .com, plays the piece, takes the key that stopped it, and ends.

Song data (little-endian words unless said otherwise): the player's own notes (42 bytes), clocks a
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

from arranger.errors import SettingsError, SheetError
from arranger.sheet.played import drums_in_use, played_steps, step_length
from arranger.sound.alternate import part_ticks, runs

if TYPE_CHECKING:
    from arranger.engine.model import DrumSound, Engine
    from arranger.sheet.model import Sheet

PROGRAM_ORIGIN = 0x100
"""Where a .com program begins in its segment."""

_PROGRAM_SOURCE = """\
        call    player
        dec     ax                      ; 1: a key waits
        jnz     .end
        int     16h                     ; take it
.end:   ret

"""
PROGRAM = bytes.fromhex("e80600487502cd16c3")

ENTRIES = {
    "start": "plays the piece; comes back with AX = 2 at its end, 1 if a key waits",
    "step": "plays one step; comes back with AX = 0, 1 if a key waits, 2 after the last",
    "stop": "silence; the next step is the first",
}
"""What can be called, in order: from +0 on each by a near call, from +9 on by a far one."""
NEAR_BYTES, FAR_BYTES = 3, 4

SOURCE = Path(__file__).parent / "alternate_player.asm"

PLAYER = bytes.fromhex(
    "e91200e91400e91600e80900cbe80a00cbe80b00cbb81700eb08b8de00eb03b829009c5351525657551e06fc0e1f"
    "e800005b01d881c32e039c8f471cffd0071f5d5f5e5a595b9dc3e80f00e8c1004878fa7505e8040040c340c3803f"
    "00742ec607008b772ae8c202807f0600740c807f0400740603771ee8b002e46124fc8a670180e40108e0e661b036"
    "e85a0031c0c3fe07e46188470124fc0c01e6618b47328947248b473c01d88947228b473089470a40d1e889471e89"
    "4720c747040100c6470600c6470302c747080000fab034e81500e81b00e87402894728f7d803472a2d5802894708"
    "c3e64330c0e640e640c3b0b6e6438b470ae64288e0e642c3c64703008b5728d1ead1ea29d0894726c3803f007503"
    "e879ff8b7722e8670089470ce8610089470ee868008977228b4f2e8b472c89471831ede88e0089c7e8e100e86401"
    "ff4f1875098b472c89471883f501e2e5ff4f2475188b773601de8977228b473489472409c07506e8eefe4040c3b8"
    "40008ec026a11a00262b061c00f7d819c0f7d8c3ac30e4d1e089c7037f388b01c3ac30e408c0742cb207fec8f6e2"
    "89c7037f3a01df8a058847028b45038947128b4505894714c74716e1ac8b450183c707897f1a894710c3837f1000"
    "750cf647020274378b7f1ae8cbffff4718ff4f108b4712f6470201750e89c20357147303baffff895712c38b5716"
    "d1ea730481f200b489571623571401d0c38b470c8b570e09c0740809d2740609ed740289d0c38b772a09ff744b3b"
    "7f0a74468b571e0357268b472083e80429d07c0e01d03df0007603b8f00029d07e0229c6e8db0089f8e64288e0e6"
    "42897f0a8b772ae8ec0029f0720e78082b47263b471e7c04c6470301e8b500297708807f0302750ee86ffee8c800"
    "29470831c0e872fe89f8f7d819c024023a4706740c884706e46124fd0a4706e661c3807f03017547837f10007541"
    "8b771e807f040074078b470ad1e801c62b77287207e8820039c6730303770a8b472a29f0721b3d40017216e84a00"
    "3da000730ee808fee8610029f02b4728e80bfe8b472a2b471e7306f7d889471ec331d2f7770a807704018b470a03"
    "4704d1d839c2720b8077040129c22b470af7d889472029d089471ec3fa30c0e643e44088c2e44088c68b470829d0"
    "29f0730b3d98fe73e5ff771c9debdfc3fa30c0e643e44088c2e44088c68b470829d0c3"
)

_NOTES_BYTES = 42
_PART = struct.Struct("<BHHH")
_MOST_PARTS = 255
_HEAD = struct.Struct("<10H")
_SEGMENT = 0x10000
_LEAST_TICK = 400
_A_LINE = 16


def song_data(sheet: Sheet, engine: Engine) -> bytes:
    """Return the song data that the player reads; see the module for its layout.

    Raises `SheetError` if the engine can't play the sheet, or the data doesn't fit the engine's
    memory.
    """
    steps = played_steps(sheet, engine)
    clocks = engine.profile.loop.cycles
    if clocks < _LEAST_TICK:
        raise SettingsError(
            f"the player needs ticks of {_LEAST_TICK} clocks or more; {engine.name} has {clocks}",
            remedy="export the song alone (--as data)",
        )
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


def binary(sheet: Sheet, engine: Engine, address: int | None = None) -> bytes:
    """Return player and song: a program, or with an address in its segment a block to call.

    Raises `SettingsError` if it reaches beyond its segment, or the engine's ticks are too short for
    a processor; `SheetError`: See `song_data`.
    """
    block = PLAYER + song_data(sheet, engine)
    if address is None:
        return PROGRAM + block
    _check_end(address + len(block))
    return block


def entry_points(address: int) -> list[tuple[str, int, int]]:
    """Return what can be called in a block at an address: name, where near, where far."""
    far = address + NEAR_BYTES * len(ENTRIES)
    return [
        (name, address + NEAR_BYTES * index, far + FAR_BYTES * index)
        for index, name in enumerate(ENTRIES)
    ]


def alternate_source(sheet: Sheet, engine: Engine, address: int | None = None) -> str:
    """Return what `binary` gives as one source for NASM; raises as that."""
    data = song_data(sheet, engine)
    lines = (
        "        db      " + ", ".join(map(str, data[start : start + _A_LINE]))
        for start in range(0, len(data), _A_LINE)
    )
    origin = PROGRAM_ORIGIN if address is None else address
    _check_end(origin + len(PLAYER) + len(data))
    begin = f"        bits    16\n        cpu     8086\n        org     {origin:#06x}\n\n"
    program = _PROGRAM_SOURCE if address is None else ""
    return begin + program + SOURCE.read_text(encoding="utf-8") + "\n".join(lines) + "\n"


def _check_end(end: int) -> None:
    if end > _SEGMENT:
        raise SettingsError(
            f"player and song would reach {end - _SEGMENT:,} bytes beyond the segment's end",
            remedy="choose a lower --address",
        )
