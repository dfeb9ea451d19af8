"""What each note is worth: tune, bass, salience, doubles, and the roles of the parts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.reduce.columns import Columns, columns, heard_share, note_on_top
from arranger.reduce.duplicates import doubles
from arranger.reduce.roles import find_roles, part_facts
from arranger.reduce.weights import Weights

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.engine.model import Engine
    from arranger.grid.model import Grid
    from arranger.reduce.model import PartRole
    from arranger.settings import ReduceSettings
    from arranger.song.model import Song


def weigh(song: Song, engine: Engine, grid: Grid, settings: ReduceSettings) -> Weights:  # noqa: ARG001
    """Return the weights of all notes of a song that has at least one.

    Raises
    ------
    SettingsError
        If the settings name a part that isn't there, or contradict each other.
    """
    table = columns(song)
    facts = part_facts(table, len(song.parts))
    roles = find_roles(song, facts, settings)
    tune = _line(table, roles, "tune", table.pitch.astype(np.float64))
    bass = _line(table, roles, "bass", -table.pitch.astype(np.float64))
    salience = _salience(table)
    muted = np.array([role.role == "muted" for role in roles])[table.part]
    importance = np.where(muted, -1.0, 4.0 * tune + 2.0 * bass + salience)
    duplicate_of, octave_of = doubles(table, importance)
    return Weights(
        tune=np.where(muted, 0.0, tune),
        bass=np.where(muted, 0.0, bass),
        salience=salience,
        duplicate_of=duplicate_of,
        octave_of=octave_of,
        roles=roles,
    )


def _line(
    table: Columns, roles: tuple[PartRole, ...], role: str, score: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return how much of its time each note is outermost among the parts with a role."""
    members = np.array([entry.role == role for entry in roles])[table.part]
    if not members.any():
        members = np.array([entry.role not in {"muted", "drums"} for entry in roles])[table.part]
    members &= table.tonal
    worth = np.where(members, score, -1e6)
    share = heard_share(table, note_on_top(table, worth))
    return np.where(members, np.clip(share, 0.0, 1.0), 0.0)


def _salience(table: Columns) -> NDArray[np.float64]:
    """Return loudness times the root of the length, as a multiple of what most notes have."""
    raw = (0.2 + table.loudness) * np.sqrt(np.clip(table.duration, 0.05, 4.0))
    middle = float(np.median(raw[table.tonal])) if table.tonal.any() else 1.0
    return np.clip(raw / middle, 0.1, 4.0)
