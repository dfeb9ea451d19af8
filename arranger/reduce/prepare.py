"""From a song on its grid to the problem of the optimisation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import view
from arranger.reduce.account import Asked
from arranger.reduce.candidates import gather_tones, lay_out, line_ends
from arranger.reduce.cost import costs_from
from arranger.reduce.drums import drum_candidates
from arranger.reduce.fold import fold
from arranger.reduce.placed import place, refuse, unplayable
from arranger.reduce.ring import end_of_ring, without_ring
from arranger.reduce.salience import weigh
from arranger.reduce.terms import price
from arranger.reduce.textures import (
    free_moves,
    out_of_turn,
    textures_of_steps,
    turns,
    weights_by_texture,
)
from arranger.reduce.transpose import choose_transposition

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.grid.model import Grid
    from arranger.reduce.candidates import Bools, Ints, Problem
    from arranger.reduce.cost import Costs
    from arranger.reduce.drums import DrumCandidates
    from arranger.reduce.placed import Placed
    from arranger.reduce.terms import Priced
    from arranger.reduce.weights import Weights
    from arranger.settings import ReduceSettings
    from arranger.song.model import Song


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prepared:
    """All that is known before anything is decided."""

    broken: Bools
    """Shape (steps,): where the texture is ``broken-chord``."""
    costs: Costs
    weights: Weights
    transpose: int
    placed: Placed
    ids: Ints
    """Shape (n,): the notes that may sound in a voice."""
    tone_of: Ints
    """Shape (n,): the tone of each."""
    drums: DrumCandidates
    problem: Problem


def prepare(song: Song, engine: Engine, grid: Grid, settings: ReduceSettings) -> Prepared:
    """Weigh and fold the notes, and list what there is to choose from.

    Raises
    ------
    SettingsError
        If a setting names a part that the song doesn't have, or a cost that doesn't exist.
    """
    costs = costs_from(settings.costs)
    lines = without_ring(song)
    weights = weigh(lines, settings)
    transpose = choose_transposition(song, engine, grid, weights, settings)
    steps_per_beat = float(1 / grid.step_beats)
    placed = place(song, grid, weights.roles)
    pitch_out = fold(
        placed.pitch + transpose,
        placed.part,
        placed.onset,
        placed.end,
        steps_per_beat=steps_per_beat,
        engine=engine,
    )
    placed = refuse(placed, unplayable(placed, pitch_out), "outside-pitch-table")
    if settings.drums == "none":
        placed = refuse(placed, np.flatnonzero(placed.drum & placed.usable), "track-muted")
    ids = np.flatnonzero(placed.usable & ~placed.drum)
    textures = textures_of_steps(grid, settings)
    broken = textures == "broken-chord"
    used = weights_by_texture(lines, weights, textures, placed.onset)
    as_written = settings.texture == "as-written"
    tones, tone_of = gather_tones(
        ids,
        pitch_out[ids],
        placed.onset[ids],
        placed.end[ids] if as_written else _ends(song, lines, placed, used, ids),
        placed.part[ids],
        offset=placed.offset[ids],
        weights=used,
        costs=costs,
        separate_parts=as_written,
    )
    drum_ids = np.flatnonzero(placed.usable & placed.drum).tolist()
    drums = drum_candidates(
        [song.notes[i] for i in drum_ids], engine, grid, amount=settings.drums, costs=costs
    )
    problem = lay_out(
        tones,
        steps=grid.steps,
        steps_per_beat=steps_per_beat,
        drum_steps=drums.steps,
        drum_weights=drums.weights,
        drum_is_free=not engine.drum_takes_step,
        more_bounds=_more_bounds(grid, broken),
    )
    return Prepared(
        broken=broken,
        costs=costs,
        weights=weights,
        transpose=transpose,
        placed=placed,
        ids=ids,
        tone_of=tone_of,
        drums=drums,
        problem=problem,
    )


def _ends(song: Song, lines: Song, placed: Placed, weights: Weights, ids: Ints) -> Ints:
    """Return the steps before which the notes end, as parts of their lines; shape (n,)."""
    end = placed.end
    if lines is not song:
        end = end_of_ring(song, lines, placed.onset, end)
    part, onset = placed.part[ids], placed.onset[ids]
    return line_ends(part, onset, end[ids], weights.tune[ids], weights.bass[ids])


def _more_bounds(grid: Grid, broken: Bools) -> Ints:
    """Return the steps on which broken chords take turns, begin and stop."""
    edges = np.flatnonzero(np.diff(broken)) + 1
    return np.concatenate((turns(grid, broken)[0], edges))


def priced(prepared: Prepared, grid: Grid) -> Priced:
    """Return the costs of every choice under the texture."""
    problem, costs = prepared.problem, prepared.costs
    found = price(problem, costs)
    if not prepared.broken.any():
        return found
    turn_costs = out_of_turn(problem, costs, grid, prepared.broken)
    for t, node in enumerate(found.node):
        node += turn_costs[t, : node.shape[1]]
    found.move2[:] = free_moves(problem, found.move1, prepared.broken)
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
    silent = dict.fromkeys(prepared.drums.unplayable, ("no-drum-sound", ()))
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
        lead=view(lead),
        octave_of=view(weights.octave_of),
        duplicate_of=view(weights.duplicate_of),
        refused={**silent, **refused},
        broken=view(prepared.broken),
        step_seconds=grid.step_length.seconds,
        steps_per_beat=float(1 / grid.step_beats),
    )
