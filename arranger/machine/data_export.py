"""The song data alone, plain and unpacked, for a player of the musician's own.

All numbers are little-endian. For engines that count in a sound loop:

======  =====================  ===============================================================
offset  type                   content
======  =====================  ===============================================================
0       32 bits                N, the number of steps
4       32 bits                the step that follows the last; FFFFFFFF: the piece ends
8       16 bits                the count of the engine's step length
10      16 bits                W, the bits of a pitch setting: 16 or 32
12      N times W bits         voice 1: the engine's setting for the step, 0: silent
then    N times W bits         voice 2, likewise
then    N bytes                drums: the n-th of the engine's list (from 1), those of the sheet
                               after them; 0: none
======  =====================  ===============================================================

For a timer channel that alternates between the voices (method ``alternate``), what the channel is
given: pairs of 16-bit numbers, a count of ticks and the divisor to play for so long (0: silent),
ended by a count of 0. A tick is ``loop.cycles`` clocks of the timer.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from arranger.sheet.played import played_steps
from arranger.sheet.sounds import sounds_of

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.machine.options import ExportOptions
    from arranger.sheet.model import Sheet

_ENDS = 0xFFFF_FFFF


def export_data(sheet: Sheet, engine: Engine, _options: ExportOptions) -> bytes:
    """Return the song data; see the module for its layout.

    Raises
    ------
    SheetError
        If the engine can't play the sheet.
    """
    if engine.method == "alternate":
        from arranger.sound.alternate import divisor_runs

        runs = divisor_runs(sheet, engine)
        return b"".join(struct.pack("<HH", *run) for run in runs) + struct.pack("<H", 0)
    steps = played_steps(sheet, engine)
    settings = {None: 0} | {midi: pitch.setting for midi, pitch in engine.pitches.items()}
    drums = {drum: index for index, drum in enumerate(sounds_of(sheet, engine).values(), 1)}
    wide = max(settings.values()) > 0xFFFF
    loop = _ENDS if sheet.loop_step is None else sheet.loop_step
    row = struct.Struct(f"<{len(steps)}{'I' if wide else 'H'}")
    return b"".join(
        (
            struct.pack("<IIHH", len(steps), loop, sheet.step_setting, 32 if wide else 16),
            row.pack(*(settings[step.voice1] for step in steps)),
            row.pack(*(settings[step.voice2] for step in steps)),
            bytes(0 if step.drum is None else drums[step.drum] for step in steps),
        )
    )
