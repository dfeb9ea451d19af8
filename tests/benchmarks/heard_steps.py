"""What the exported steps ("arranger-steps", version 1 or 2) let be heard, for measurements.

Nothing is asked of the ledger here: tones, drum sounds and how long they sound are read from the JSON
export as any other program would read them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from arranger.machine.json_export import json_values

if TYPE_CHECKING:
    from arranger import Conversion

KINDS = {"kicks": {35, 36}, "snares": {38, 40}, "hats": {42, 44, 46}}
"""General MIDI percussion keys."""
DRUM_SECONDS = 0.03
"""A drum this near to where the song has it is heard there."""


@dataclass(slots=True)
class Heard:
    """What the exported steps let be heard."""

    step: float
    """In seconds."""
    drums: list[frozenset[int]]
    """For each step the percussion keys that its drum says."""
    taken: list[float]
    """For each step the seconds that its drum takes."""
    begins: list[tuple[float, int, bool]]
    """When a voice starts which pitch, and whether a drum alone parts it from the same pitch before."""
    pitches: list[set[int]]
    """For each step what sounds after its drum."""

    def says(self, keys: set[int], at: float) -> bool:
        """Return whether a drum sound for one of some keys starts near a place (in steps)."""
        near = DRUM_SECONDS / self.step
        steps = range(max(math.ceil(at - near), 0), min(math.floor(at + near) + 1, len(self.drums)))
        return any(keys & self.drums[step] for step in steps)

    def states(self, first: int, steps: int) -> list[frozenset[str]]:
        """Return for each of some steps which of kick and snare is heard."""
        return [
            frozenset(kind for kind in ("kicks", "snares") if KINDS[kind] & keys)
            for keys in self.drums[first : first + steps]
        ]


def heard(conversion: Conversion) -> Heard:
    values = json_values(conversion.sheet, conversion.engine)
    step, steps = values["step_seconds"], values["steps"]
    names = [each["drum"] for each in steps]
    seconds = drum_seconds(conversion, values)
    keys = drum_keys(conversion)
    taken = [0.0 if name is None else min(seconds[name] or step, step) for name in names]
    begins: list[tuple[float, int, bool]] = []
    for voice in ("voice1", "voice2"):
        before, parted = None, False
        for index, each in enumerate(steps):
            pitch, parted = each[voice], parted or each["drum"] is not None
            if pitch is not None:
                if pitch != before or parted:
                    begins.append((index * step + taken[index], pitch, pitch == before))
                before, parted = pitch, False
            elif each["drum"] is None:
                before = None
    return Heard(
        step,
        [frozenset() if name is None else keys[name] for name in names],
        taken,
        begins,
        [{each["voice1"], each["voice2"]} - {None} for each in steps],
    )


def drum_seconds(conversion: Conversion, values: dict[str, Any]) -> dict[str, float]:
    """Return how long each sound takes the pin; 0 means its whole step."""
    if "drums" in values:
        return {each["name"]: each["seconds"] for each in values["drums"]}
    engine = conversion.engine
    share = 0.0 if engine.drum_takes_step else 1.0 / engine.clock_hz
    return {drum.name: drum.cycles * share for drum in engine.drums}


def drum_keys(conversion: Conversion) -> dict[str, frozenset[int]]:
    """Return the percussion keys that each sound says, those of the sounds it joins included."""
    sounds = (*conversion.engine.drums, *getattr(conversion.sheet, "sounds", ()))
    own = {drum.name: drum for drum in sounds}
    joined = {name: drum.joins for name, drum in own.items()}
    return {
        name: frozenset(key for each in (name, *joined[name]) for key in own[each].percussion_keys)
        for name in own
    }
