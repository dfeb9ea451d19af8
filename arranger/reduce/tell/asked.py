"""What the song asks for, as the account compares it with what is heard."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import view
from arranger.reduce.choose.candidates import IN_LINE
from arranger.reduce.choose.turns import turning

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from arranger.grid.model import Grid
    from arranger.reduce.choose.prepare import Prepared


class Asked(NamedTuple):
    """What the song asks for: in each sequence one entry a note of ``Song.notes``."""

    onset: Sequence[int]
    """In steps."""
    end: Sequence[int]
    """In steps, exclusive: where the note ends as part of its line."""
    note_end: Sequence[int]
    """In steps, exclusive: where it ends on the grid."""
    written_end: Sequence[float]
    """In steps: where it is written to end."""
    rings: Sequence[float]
    """In steps: for how long before that its key is up and only a pedal holds it."""
    offset: Sequence[float]
    """Where it is written minus its step, in steps."""
    pitch: Sequence[int]
    """Transposed with the song; of drums the percussion key."""
    out: Sequence[int]
    """The same in the octave that the pitch table has."""
    part: Sequence[int]
    drum: Sequence[bool]
    sound: Sequence[str | None]
    """Of drums: the sound that stands in for the note, or None."""
    joins: Mapping[str, tuple[str, ...]]
    """For sounds that say several at once: those, by name."""
    lead: Sequence[int]
    """The note that asks for the same pitch over the same steps and stands for it; often itself."""
    octave_of: Sequence[int]
    """The note that it doubles at the octave, or -1."""
    duplicate_of: Sequence[int]
    """The note that it doubles at the same pitch, or -1."""
    gap: str | None
    """The sound that is nothing but a short silence."""
    refused: Mapping[int, tuple[str, tuple[int, ...]]]
    """Notes that can't sound whatever is chosen: the reason, and the notes in their place."""
    tune: Sequence[bool]
    """Whether the note is the tune, so that it takes no turns."""
    turning: Sequence[Sequence[bool]]
    """For each voice and step whether the notes of a chord take turns there."""
    step_seconds: float
    steps_per_beat: float


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
