"""The song data alone, plain and unpacked, for a player of the musician's own.

They look as the engine's ``[export]`` says (`arranger.machine.layout`). Without one, all numbers are
little-endian, and for engines that count in a sound loop:

======  =====================  ===============================================================
offset  type                   content
======  =====================  ===============================================================
0       32 bits                N, the number of steps
4       32 bits                the step that follows the last; FFFFFFFF: the piece ends
8       16 bits                the count of the engine's step length
10      16 bits                W, the bits of a pitch setting: 16 or 32
12      N times W bits         voice 1: the engine's setting for the step, 0: silent
then    N times W bits         voice 2, likewise
then    N bytes                drums: the n-th of the engine's list (from 1), 0: none;
                               the sheet's own sounds have the numbers after
then    8 bits                 D, the drum sounds that occur; then for each of them:
        8 bits                 its number
        8 bits                 P, its parts, which sound one after the other; for each of them:
        8 bits                 0: a falling tone, 1: noise, 2: silence
        32 bits                the clock cycles that it sounds, within the step
        32 bits                falling tone: first half period in cycles; noise: cycles between
                               random bits; silence: 0
        32 bits                falling tone: growth of each next half period; else 0
======  =====================  ===============================================================

With ``drum_takes_step`` the voices are silent until the step's end; else they sound from the first
pass of the loop on that begins after the last part.

For a timer channel that alternates between the voices (method ``alternate``), what the channel is
given: pairs of 16-bit numbers, a count of ticks and the divisor to play for so long (0: silent),
ended by a count of 0. Then 32 bits: the pair that follows the last, counted from 0; FFFFFFFF: the piece
ends. A tick is ``loop.cycles`` clocks of the timer.
"""

from __future__ import annotations

import struct
from itertools import accumulate
from typing import TYPE_CHECKING

from arranger.errors import SheetError
from arranger.machine.export_options import ExportOptions
from arranger.sheet.played import drums_in_use, played_steps, step_length
from arranger.sheet.sounds import sounds_of

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.engine.profile import DrumPart
    from arranger.machine.layout.data_plan import DataPlan
    from arranger.sheet.model import Sheet

_KINDS = {"kick": 0, "noise": 1, "rest": 2}
_ENDS = 0xFFFF_FFFF
_MOST_DRUMS = 255


def export_data(sheet: Sheet, engine: Engine, options: ExportOptions) -> bytes:
    """Return the song data; see the module for its layout.

    Raises `SheetError` if the engine can't play the sheet, or its layout can't hold it.
    """
    found = _plan(sheet, engine, options)
    if found is not None:
        from arranger.machine.layout.data_source import c_source, data_source
        from arranger.machine.layout.encode import encode, joined_bytes

        written = encode(found, sheet)
        if found.layout.form == "bytes":
            return joined_bytes(written)
        return (data_source if found.layout.form == "assembly" else c_source)(found, written, sheet)
    if engine.method == "alternate":
        return _timer_bytes(sheet, engine)
    steps = played_steps(sheet, engine)
    settings = {None: 0} | {midi: pitch.setting for midi, pitch in engine.pitches.items()}
    used = drums_in_use(steps)
    numbers = {drum: number for number, drum in enumerate(sounds_of(sheet, engine).values(), 1)}
    if any(numbers[drum] > _MOST_DRUMS for drum in used):
        raise SheetError(f"it has more than {_MOST_DRUMS} drum sounds", remedy="define fewer")
    length = step_length(sheet, engine)
    wide = max(settings.values()) > 0xFFFF
    loop = _ENDS if sheet.loop_step is None else sheet.loop_step
    row = struct.Struct(f"<{len(steps)}{'I' if wide else 'H'}")
    return b"".join(
        (
            struct.pack("<IIHH", len(steps), loop, length.setting, 32 if wide else 16),
            row.pack(*(settings[step.voice1] for step in steps)),
            row.pack(*(settings[step.voice2] for step in steps)),
            bytes(0 if step.drum is None else numbers[step.drum] for step in steps),
            bytes((len(used),)),
            *(_drum_bytes(numbers[drum], engine.parts_in(drum, length)) for drum in used),
        )
    )


def _timer_bytes(sheet: Sheet, engine: Engine) -> bytes:
    from arranger.sound.alternate import divisor_runs, loop_tick

    runs = divisor_runs(sheet, engine)
    starts = list(accumulate((ticks for ticks, _ in runs), initial=0))
    loop = _ENDS if sheet.loop_step is None else starts.index(loop_tick(sheet, engine))
    return b"".join(struct.pack("<HH", *run) for run in runs) + struct.pack("<HI", 0, loop)


def data_notes(sheet: Sheet, engine: Engine, options: ExportOptions) -> list[str]:
    """Return where what lies in data that look as ``[export]`` says, and what they leave out."""
    found = _plan(sheet, engine, options)
    if found is None:
        return []
    from arranger.machine.layout.map import map_lines

    return list(map_lines(found, sheet))


def data_suffix(engine: Engine) -> str:
    """Return how a file with the data of an engine ends."""
    form = "bytes" if engine.profile.export is None else engine.profile.export.form
    return {"bytes": ".dat", "assembly": ".data.asm", "c": ".data.c"}[form]


def data_size(sheet: Sheet, engine: Engine) -> int:
    """Return how many bytes the data take in memory.

    Raises `SheetError` if the engine can't play the sheet.
    """
    found = _plan(sheet, engine, ExportOptions())
    return found.bytes if found else len(export_data(sheet, engine, ExportOptions()))


def _plan(sheet: Sheet, engine: Engine, options: ExportOptions) -> DataPlan | None:
    layout = engine.profile.export
    if layout is None:
        return None
    from arranger.machine.layout.data_plan import plan_data

    base = layout.base if options.address is None else options.address
    return plan_data(sheet, engine, layout._replace(base=base))


def _drum_bytes(number: int, parts: tuple[DrumPart, ...]) -> bytes:
    return bytes((number, len(parts))) + b"".join(
        struct.pack("<BIII", _KINDS[part.kind], part.cycles, *(*part.settings, 0, 0)[:2])
        for part in parts
    )
