"""The piece as C99 source: arrays for a microcontroller's own player.

Per step one byte a row: an index into the tables of pitches and drums, 0 for silence. Tables give
each pitch that occurs as MIDI number, engine setting and frequency in thousandths of a hertz, so
that a timer can be loaded without a logarithm on board.
"""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

from arranger.errors import SheetError
from arranger.pitch import pitch_name
from arranger.sheet.played import played_steps, step_length
from arranger.sheet.sounds import sounds_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from arranger.engine.model import Engine
    from arranger.machine.options import ExportOptions
    from arranger.sheet.model import Sheet

_A_LINE = 16


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
    sounding_drums = {step.drum for step in steps}
    drums = [drum for drum in sounds_of(sheet, engine).values() if drum in sounding_drums]
    if max(len(pitches), len(drums)) > 255:
        raise SheetError("more than 255 pitches or drums don't fit in bytes")
    pitch_index: dict[int | None, int] = {
        pitch.midi: index for index, pitch in enumerate(pitches, 1)
    }
    drum_index = {drum: index for index, drum in enumerate(drums, 1)}
    upper = name.upper()
    loop = -1 if sheet.loop_step is None else sheet.loop_step

    yield f"/* {comment(sheet.title)}: a piece for a one-bit speaker, written by arranger."
    yield f" * Engine {engine.name}, clock {engine.clock_hz} Hz."
    yield " * Rows: one byte a step; 0 is silence, n the n-th entry of the table (from 1)."
    yield " * Two equal tones in a row are one long tone. */"
    yield "#include <stdint.h>"
    yield ""
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
    for drum in drums:
        yield f"/* drum {drum_index[drum]}: {drum.name}, a {drum.parts[0].kind}, settings {drum.parts[0].settings} */"
    for row, values in (
        ("voice1", [pitch_index.get(step.voice1, 0) for step in steps]),
        ("voice2", [pitch_index.get(step.voice2, 0) for step in steps]),
        ("drums", [0 if step.drum is None else drum_index[step.drum] for step in steps]),
    ):
        yield ""
        yield from _array(f"uint8_t {name}_{row}", values)


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
