"""The piece as JSON: per step what sounds, for programs of any kind.

The format "arranger-steps", version 2, is described by ``steps.schema.json`` beside this module. A
voice has what sounds on the step, also where that sounds only after the step's drum; it is null where
it is silent: at rests, and on a step that a drum takes whole. Two equal numbers in a row are one long
tone, unless a drum stands on the second step: its silence parts them, and ``gap`` is there for nothing
else. Version 1 had no ``drums``, and told nothing of a drum but its name.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from arranger.pitch import pitch_name
from arranger.sheet.played import drums_in_use, played_steps, step_length
from arranger.sound.schedule import silent_cycles

if TYPE_CHECKING:
    from arranger.engine.model import DrumSound, Engine, StepLength
    from arranger.machine.export_options import ExportOptions
    from arranger.sheet.model import Sheet


def json_values(sheet: Sheet, engine: Engine) -> dict[str, Any]:
    """Return the piece as values that JSON can hold.

    Raises `SheetError` if the engine can't play the sheet.
    """
    steps = played_steps(sheet, engine)
    length = step_length(sheet, engine)
    sounding = {step.voice1 for step in steps} | {step.voice2 for step in steps}
    return {
        "format": "arranger-steps",
        "version": 2,
        "title": sheet.title,
        "engine": engine.name,
        "step_seconds": length.seconds,
        "step_cycles": length.cycles,
        "clock_hz": engine.clock_hz,
        "step_beats": str(sheet.step_beats),
        "loop_step": sheet.loop_step,
        "bars": [
            {"number": bar.number, "first_step": first, "steps": bar.steps,
             "numerator": bar.numerator, "denominator": bar.denominator}
            for bar, first in zip(sheet.bars, sheet.bar_starts, strict=False)
        ],
        "pitches": [
            {"name": pitch_name(pitch.midi), **pitch._asdict()}
            for pitch in engine.pitches.values()
            if pitch.midi in sounding
        ],
        "drums": [_drum(drum, engine, length) for drum in drums_in_use(steps)],
        "steps": [
            {
                "voice1": step.voice1,
                "voice2": step.voice2,
                "drum": None if step.drum is None else step.drum.name,
            }
            for step in steps
        ],
    }  # fmt: skip


def _drum(drum: DrumSound, engine: Engine, length: StepLength) -> dict[str, Any]:
    return {
        "name": drum.name,
        "seconds": silent_cycles(drum, engine, length) / engine.clock_hz,
        "joins": drum.joins,
        "parts": [
            {"kind": part.kind, "seconds": part.cycles / engine.clock_hz, "settings": part.settings}
            for part in engine.parts_in(drum, length)
        ],
    }


def export_json(sheet: Sheet, engine: Engine, _options: ExportOptions) -> bytes:
    """Return the piece as UTF-8 JSON, one step a line.

    Raises `SheetError` if the engine can't play the sheet.
    """
    values = json_values(sheet, engine)
    lists = {key: values.pop(key) for key in ("bars", "pitches", "drums", "steps")}
    rows = [f"  {_text(key)}: {_text(value)}" for key, value in values.items()]
    for key, entries in lists.items():
        inner = ",\n".join(f"    {_text(entry)}" for entry in entries)
        rows.append(f"  {_text(key)}: [\n{inner}\n  ]")
    return ("{\n" + ",\n".join(rows) + "\n}\n").encode("utf-8", "backslashreplace")


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
