"""Textures: what the two voices are for.

- ``auto``: the default; ``broken-chord`` or ``tune-and-bass``, by what each passage is made of
  (`arranger.reduce.choose.material`).
- ``tune-and-bass``: two lines; weights as found.
- ``broken-chord``: voice 1 the tune; voice 2, and voice 1 where the tune rests, take turns among the
  notes of the chord (`arranger.reduce.choose.turns`).
- ``two-highest``: voice 1 the highest note, voice 2 the second highest.
- ``bass-and-chord``: an accompaniment for a live player: the tune stays out while there is anything
  else, voice 2 has the bass, voice 1 the chord note that stands for most of the rest.
- ``as-written``: the parts "voice 1" and "voice 2" go to these voices unconditionally.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from arranger.errors import SettingsError
from arranger.reduce.worth.note_table import heard_share, note_on_top, note_table
from arranger.settings import TEXTURES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.columns import Ints
    from arranger.grid.model import Grid
    from arranger.reduce.worth.weights import Weights
    from arranger.settings import ReduceSettings
    from arranger.song.model import Song

PLAIN_LEFT = 0.3
"""Factor on the salience of all notes in ``two-highest``: height alone counts."""

TUNE_LEFT = 0.2
CHORD_MORE = 4.0
"""Factors on the salience of the tune and of all else in ``bass-and-chord``."""


def weights_for(song: Song, weights: Weights, texture: str) -> Weights:
    """Return the weights that the optimisation uses under a texture."""
    if texture == "two-highest":
        table = note_table(song)
        pitch = table.pitch.astype(np.float64)
        first = np.clip(heard_share(table, note_on_top(table, pitch)), 0.0, 1.0)
        second = heard_share(table, note_on_top(table, np.where(first >= 0.5, -1.0, pitch)))
        second = np.where(first >= 0.5, 0.0, np.clip(second, 0.0, 1.0))
        salience = PLAIN_LEFT * weights.salience
        return replace(weights, tune=first, bass=second, salience=salience)
    if texture == "bass-and-chord":
        tune = weights.tune >= 0.5
        salience = np.where(tune, TUNE_LEFT, CHORD_MORE) * weights.salience
        return replace(weights, tune=np.zeros_like(weights.tune), salience=salience)
    return weights


def textures_of_bars(grid: Grid, settings: ReduceSettings) -> NDArray[np.str_]:
    """Return the name of the texture of every bar as the user chose it; shape (bars,).

    Raises `SettingsError` if the settings name a section or bars that the sheet doesn't have.
    """
    found = np.full(len(grid.bars), settings.texture, dtype=f"U{max(map(len, TEXTURES))}")
    for where, name in settings.section_textures.items():
        for first, last in _places(grid, where):
            found[first:last] = name
    return found


def _places(grid: Grid, where: str) -> list[tuple[int, int]]:
    """Return the bars, by index, first and after the last, of a section or of bars like "9-16"."""
    first, dash, last = where.partition("-")
    if first.isdecimal() and (not dash or last.isdecimal()):
        low, high = int(first), int(last) if dash else int(first)
        bars = [index for index, bar in enumerate(grid.bars) if low <= bar.number <= high]
        if bars:
            return [(bars[0], bars[-1] + 1)]
    sections = [section for section in grid.sections if section.name == where]
    if not sections:
        names = ", ".join(sorted({section.name for section in grid.sections})) or "none"
        raise SettingsError(
            f"there is no section and no bar {where!r}",
            remedy=f"sections: {names}; bars: {grid.bars[0].number}-{grid.bars[-1].number}",
        )
    return [(s.first_bar, s.first_bar + s.bars) for s in sections]


def weights_by_texture(
    song: Song, weights: Weights, textures: NDArray[np.str_], onset: Ints
) -> Weights:
    """Return the weights that the optimisation uses, each note's by the texture on its step."""
    found = weights
    of_note = textures[np.maximum(onset, 0)]
    for texture in sorted({*textures.tolist()}):
        used = weights_for(song, weights, texture)
        if used is not weights:
            here = of_note == texture
            found = replace(
                found,
                tune=np.where(here, used.tune, found.tune),
                bass=np.where(here, used.bass, found.bass),
                salience=np.where(here, used.salience, found.salience),
            )
    return found
