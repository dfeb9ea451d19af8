"""The piece as C99 source: arrays for a microcontroller's own player.

Per step one byte a row: an index into the tables of pitches and drums, 0 for silence. Tables give
each pitch that occurs as MIDI number, engine setting and frequency in thousandths of a hertz, so
that a timer can be loaded without a logarithm on board. Tables of drums say for how long each silences
the voices and which parts it has, tables of parts what these are given and how long they sound.
"""

from __future__ import annotations

import re
import unicodedata
from itertools import accumulate
from typing import TYPE_CHECKING

from arranger.errors import SheetError
from arranger.pitch import pitch_name
from arranger.sheet.played import drums_in_use, played_steps, step_length
from arranger.sound.schedule import silent_cycles

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from arranger.engine.model import Engine
    from arranger.machine.options import ExportOptions
    from arranger.sheet.model import Sheet

_A_LINE = 16

_DRUM_COMMENT = (
    "/* A drum silences the voices for drum_microseconds of its step, then they sound. Its parts, one",
    " * after the other, are those from its drum_first_part up to before that of the next drum (both",
    " * counted from 0). A falling tone has part_setting as its first half period, in cycles of the",
    " * clock, and each next one is longer by part_change; noise draws a random bit each part_setting",
    " * cycles. A timer that alternates: a first divisor and its growth a tick, or a smallest divisor",
    " * and a mask of what chance may add to it each tick. A part_setting of 0 is silence. */",
)


def export_c(sheet: Sheet, engine: Engine, _options: ExportOptions) -> bytes:
    """Return the piece as C source in ASCII.

    Raises
    ------
    SheetError
        If the engine can't play the sheet, or the piece holds more than 255 pitches or drums.
    """
    return ("\n".join(_lines(sheet, engine)) + "\n").encode("ascii")


def identifier(title: str) -> str:
    """Return the beginning of a C identifier, made from a title.

    >>> identifier("Quay at dawn (waltz)"), identifier("7 bells"), identifier("")
    ('quay_at_dawn_waltz', 'piece_7_bells', 'piece')
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    words = re.sub(r"[^a-z0-9]+", "_", plain).strip("_")[:31].strip("_")
    if not words:
        return "piece"
    return words if words[0].isalpha() else f"piece_{words}"


def _lines(sheet: Sheet, engine: Engine) -> Iterator[str]:
    steps = played_steps(sheet, engine)
    length = step_length(sheet, engine)
    name = identifier(sheet.title)
    sounding = {voice for step in steps for voice in (step.voice1, step.voice2)}
    pitches = [pitch for midi, pitch in engine.pitches.items() if midi in sounding]
    drums = drums_in_use(steps)
    parts = [engine.parts_in(drum, length) for drum in drums]
    if max(len(pitches), sum(map(len, parts))) > 255:
        raise SheetError("more than 255 pitches or parts of drums don't fit in bytes")
    pitch_index: dict[int | None, int] = {
        pitch.midi: index for index, pitch in enumerate(pitches, 1)
    }
    drum_index = {drum: index for index, drum in enumerate(drums, 1)}
    upper = name.upper()
    loop = -1 if sheet.loop_step is None else sheet.loop_step

    yield f"/* {comment(sheet.title)}: a piece for a one-bit speaker, written by arranger."
    yield f" * Engine {engine.name}, clock {engine.clock_hz} Hz."
    yield " * Rows: one byte a step; 0 is silence, n the n-th entry of the table (from 1)."
    yield " * Two equal tones in a row are one long tone, unless the second has a drum. */"
    yield from _DRUM_COMMENT if drums else ()
    yield "#include <stdint.h>"
    yield ""
    yield f"#define {upper}_CLOCK_HZ {engine.clock_hz}uL"
    yield f"#define {upper}_STEPS {len(steps)}u"
    yield f"#define {upper}_STEP_MICROSECONDS {round(length.seconds * 1e6)}uL"
    yield f"#define {upper}_LOOP_STEP {loop}L /* the step after the last; -1: the piece ends */"
    yield f"#define {upper}_PITCHES {len(pitches)}u"
    yield f"#define {upper}_DRUMS {len(drums)}u"
    yield ""
    if pitches:
        yield f"/* {', '.join(pitch_name(pitch.midi) for pitch in pitches)} */"
        yield from _array(f"uint8_t {name}_pitch_midi", [pitch.midi for pitch in pitches])
        yield from _array(f"uint32_t {name}_pitch_setting", [pitch.setting for pitch in pitches])
        yield from _array(
            f"uint32_t {name}_pitch_millihertz",
            [round(1000 * pitch.frequency_hz) for pitch in pitches],
        )
    if drums:
        yield f"/* {', '.join(drum.name for drum in drums)} */"
        silent = [_microseconds(silent_cycles(drum, engine, length), engine) for drum in drums]
        yield from _array(f"uint32_t {name}_drum_microseconds", silent)
        firsts = [0, *accumulate(map(len, parts))]
        yield from _array(f"uint8_t {name}_drum_first_part", firsts)
        every = [part for each in parts for part in each]
        yield from _array(f"uint8_t {name}_part_noise", [int(p.kind == "noise") for p in every])
        lengths = [_microseconds(part.cycles, engine) for part in every]
        yield from _array(f"uint32_t {name}_part_microseconds", lengths)
        yield from _array(
            f"uint32_t {name}_part_setting", [(*part.settings, 0)[0] for part in every]
        )
        changes = [(*part.settings, 0, 0)[1] for part in every]
        yield from _array(f"uint32_t {name}_part_change", changes)
    for row, values in (
        ("voice1", [pitch_index.get(step.voice1, 0) for step in steps]),
        ("voice2", [pitch_index.get(step.voice2, 0) for step in steps]),
        ("drums", [0 if step.drum is None else drum_index[step.drum] for step in steps]),
    ):
        yield ""
        yield from _array(f"uint8_t {name}_{row}", values)


def _microseconds(cycles: int, engine: Engine) -> int:
    return round(1e6 * cycles / engine.clock_hz)


def _array(declaration: str, values: Sequence[int]) -> Iterator[str]:
    yield f"const {declaration}[{len(values)}] = {{"
    yield from (f"    {line}," for line in _wrapped(values))
    yield "};"


def _wrapped(values: Sequence[int]) -> Iterable[str]:
    for start in range(0, len(values), _A_LINE):
        yield ", ".join(map(str, values[start : start + _A_LINE]))


def comment(text: str) -> str:
    """Return text from inside a file so that it can't end a C comment or leave ASCII."""
    safe = text.encode("ascii", "backslashreplace").decode()
    visible = "".join(c if c.isprintable() else " " for c in safe)
    return visible.replace("\\", "/").replace("*/", "* /").replace("/*", "/ *")
