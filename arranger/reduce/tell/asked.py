"""What the song asks for, as the account compares it with what is heard."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import view
from arranger.reduce.choose.candidates import IN_LINE
from arranger.reduce.choose.turns import turning
from arranger.reduce.tell.account import Asked

if TYPE_CHECKING:
    from arranger.grid.model import Grid
    from arranger.reduce.choose.prepare import Prepared


def asked_of(prepared: Prepared, grid: Grid) -> Asked:
    """Return what the account compares with what is heard."""
    placed, tones, ids = prepared.placed, prepared.problem.tones, prepared.ids
    engine = prepared.engine
    names = {key: sound.name for key, sound in prepared.sounds.items() if sound is not None}
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
    weights, problem = prepared.weights, prepared.problem
    turns = turning(problem, prepared.broken, prepared.lines)
    return Asked(
        onset=view(placed.onset),
        end=view(end),
        note_end=view(placed.end),
        written_end=view(placed.written_end),
        rings=view(placed.rings),
        offset=view(placed.offset),
        pitch=view(pitch),
        out=view(out),
        part=view(placed.part),
        drum=view(placed.drum),
        sound=[
            names.get(key) if drum else None
            for drum, key in zip(placed.drum.tolist(), placed.pitch.tolist(), strict=True)
        ],
        joins={sound.name: sound.joins for sound in engine.drums if sound.joins},
        gap=None if engine.gap is None else engine.gap.name,
        lead=view(lead),
        octave_of=view(weights.octave_of),
        duplicate_of=view(weights.duplicate_of),
        refused={**silent, **refused},
        tune=view(weights.tune >= IN_LINE),
        turning=[view(row) for row in np.repeat(turns, problem.lengths, axis=1)],
        step_seconds=grid.step_length.seconds,
        steps_per_beat=float(1 / grid.step_beats),
    )
