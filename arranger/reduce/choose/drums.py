"""Drums as candidates: which sound could stand on which step, and what leaving it out costs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from arranger.bars import metre_beat
from arranger.columns import unchanging
from arranger.reduce.choose.drum_sounds import sounds_by_key

if TYPE_CHECKING:
    from fractions import Fraction

    from arranger.columns import Floats, Ints
    from arranger.engine.model import DrumSound, Engine
    from arranger.grid.model import Grid
    from arranger.reduce.choose.costs import Costs
    from arranger.settings import ReduceSettings
    from arranger.song.model import Note

AMOUNTS = {"none": 0.0, "light": 0.75, "full": 1.0}
"""Share of its cost that leaving a drum out has, by the setting."""

ACCENTS = (1.0, 0.85, 0.4)
"""Share of its weight that a drum has on the first beat of a bar, on another beat of the metre, and
between beats: it is the beats that carry the metre."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrumCandidates:
    """One candidate a step at most: the heaviest."""

    steps: Ints
    """Shape (d,): strictly increasing."""
    notes: Ints
    """Shape (d,): the id of the drum note."""
    sounds: tuple[DrumSound, ...]
    weights: Floats
    """Shape (d,): what leaving it out costs."""
    unplayable: frozenset[int]
    """Ids of drum notes that the engine has no sound for."""


def drum_candidates(
    notes: list[Note], engine: Engine, grid: Grid, settings: ReduceSettings, costs: Costs
) -> DrumCandidates:
    """Return the heaviest drum of every step that has any.

    Parameters
    ----------
    notes
        The drum notes that may sound, in order.
    engine
        Its sounds and which percussion keys they stand in for.
    grid
        Where the notes stand.
    settings
        How much the drums may take, and which sounds they have.
    costs
        The cost table.

    Raises
    ------
    UsageError
        If the settings name a sound that the engine doesn't have.
    """
    sounds = sounds_by_key(engine, {note.pitch for note in notes}, settings)
    accent: list[float] = accents(grid).tolist()
    onset_steps: list[int] = grid.onset_steps.tolist()
    heaviest: dict[int, tuple[float, Note, DrumSound]] = {}
    unplayable = set()
    for note in notes:
        sound = sounds[note.pitch]
        if sound is None:
            unplayable.add(note.id)
            continue
        step = onset_steps[note.id]
        weight = sound.weight * (0.5 + 0.5 * note.loudness) * accent[step]
        if step not in heaviest or weight > heaviest[step][0]:
            heaviest[step] = (weight, note, sound)
    share = costs.drum * AMOUNTS[settings.drums]
    chosen = sorted(heaviest.items()) if share > 0 else []
    return DrumCandidates(
        steps=np.array([step for step, _ in chosen], dtype=np.int64),
        notes=np.array([found[1].id for _, found in chosen], dtype=np.int64),
        sounds=tuple(found[2] for _, found in chosen),
        weights=np.array([share * found[0] for _, found in chosen]),
        unplayable=frozenset(unplayable),
    )


def accents(grid: Grid) -> Floats:
    """Return the metrical weight of every step, by `ACCENTS`; shape (steps,)."""
    found = np.full(grid.steps, ACCENTS[2])
    for bar in grid.bars:
        beats = _beats(bar.numerator, bar.denominator, bar.steps, grid.step_beats)
        found[beats + bar.first_step] = ACCENTS[1]
        found[bar.first_step] = ACCENTS[0]
    return found


@lru_cache(maxsize=256)
def _beats(numerator: int, denominator: int, steps: int, step_beats: Fraction) -> Ints:
    """Return the steps of a bar on which a beat of its metre falls exactly."""
    beat = metre_beat(numerator, denominator) / step_beats
    places = (count * beat for count in range(math.ceil(steps / beat)))
    return unchanging(np.array([int(p) for p in places if p.denominator == 1], dtype=np.int64))
