"""What the song asks for, as the account compares it with what is heard."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import distinct, view
from arranger.reduce.tell.account import Asked

if TYPE_CHECKING:
    from arranger.columns import Bools, Ints
    from arranger.engine.model import Engine
    from arranger.grid.model import Grid
    from arranger.reduce.choose.prepare import Prepared


def joins_of(engine: Engine) -> dict[str, tuple[str, ...]]:
    """Return what the engine's joint sounds say, by name."""
    return {sound.name: sound.joins for sound in engine.drums if sound.joins}


def asked_sounds(engine: Engine, drum: Bools, key: Ints) -> list[str | None]:
    """Return for each note the name of the drum sound that stands in for it, or None."""
    found: list[str | None] = [None] * len(drum)
    sounds = {int(k): engine.drum_for(int(k)) for k in distinct(key[drum])}
    names = {k: None if sound is None else sound.name for k, sound in sounds.items()}
    for note in np.flatnonzero(drum).tolist():
        found[note] = names[int(key[note])]
    return found


def asked_of(prepared: Prepared, grid: Grid) -> Asked:
    """Return what the account compares with what is heard."""
    placed, tones, ids = prepared.placed, prepared.problem.tones, prepared.ids
    mine = prepared.tone_of
    end, lead = placed.end.copy(), np.arange(len(placed.end))
    pitch = placed.pitch + np.where(placed.drum, 0, prepared.transpose)
    out = pitch.copy()
    end[ids], lead[ids], out[ids] = tones.end[mine], tones.note[mine], tones.pitch[mine]
    refused = {
        note: (reason, (placed.led_to[note],) if reason == "same-step" else ())
        for note, reason in placed.refused.items()
    }
    silent = dict.fromkeys(prepared.groove.unplayable, ("no-drum-sound", ()))
    weights = prepared.weights
    return Asked(
        onset=view(placed.onset),
        end=view(end),
        note_end=view(placed.end),
        written_end=view(placed.written_end),
        offset=view(placed.offset),
        pitch=view(pitch),
        out=view(out),
        part=view(placed.part),
        drum=view(placed.drum),
        sound=asked_sounds(prepared.engine, placed.drum, placed.pitch),
        joins=joins_of(prepared.engine),
        gap=None if prepared.engine.gap is None else prepared.engine.gap.name,
        lead=view(lead),
        octave_of=view(weights.octave_of),
        duplicate_of=view(weights.duplicate_of),
        refused={**silent, **refused},
        broken=view(prepared.broken),
        step_seconds=grid.step_length.seconds,
        steps_per_beat=float(1 / grid.step_beats),
    )
