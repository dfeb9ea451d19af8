"""Drums as candidates: which sound could stand on which step, and what leaving it out costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from arranger.engine.model import DrumSound, Engine
    from arranger.grid.model import Grid
    from arranger.reduce.candidates import Floats, Ints
    from arranger.reduce.cost import Costs
    from arranger.song.model import Note

AMOUNTS = {"none": 0.0, "light": 0.5, "full": 1.0}
"""Share of its cost that leaving a drum out has, by the setting."""


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
    notes: list[Note], engine: Engine, grid: Grid, *, amount: str, costs: Costs
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
    amount
        "none", "light" or "full".
    costs
        The cost table.
    """
    sounds = {key: engine.drum_for(key) for key in {note.pitch for note in notes}}
    heaviest: dict[int, tuple[float, Note, DrumSound]] = {}
    unplayable = set()
    for note in notes:
        sound = sounds[note.pitch]
        if sound is None:
            unplayable.add(note.id)
            continue
        weight = sound.weight * (0.5 + 0.5 * note.loudness)
        step = int(grid.onset_steps[note.id])
        if step not in heaviest or weight > heaviest[step][0]:
            heaviest[step] = (weight, note, sound)
    share = costs.drum * AMOUNTS[amount]
    chosen = sorted(heaviest.items()) if share > 0 else []
    return DrumCandidates(
        steps=np.array([step for step, _ in chosen], dtype=np.int64),
        notes=np.array([found[1].id for _, found in chosen], dtype=np.int64),
        sounds=tuple(found[2] for _, found in chosen),
        weights=np.array([share * found[0] for _, found in chosen]),
        unplayable=frozenset(unplayable),
    )
