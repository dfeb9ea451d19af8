"""From a song on its grid to the problem of the optimisation."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.reduce.choose.candidates import NO_STEPS, gather_tones, lay_out, line_ends
from arranger.reduce.choose.costs import costs_from
from arranger.reduce.choose.drum_sounds import left_out, sounds_by_key
from arranger.reduce.choose.groove import groove_of, harm_of
from arranger.reduce.choose.material import chords_prevail, material_of, passages
from arranger.reduce.choose.rates import rates_of
from arranger.reduce.choose.textures import textures_of_bars, weights_by_texture
from arranger.reduce.choose.turns import out_of_turn, turns
from arranger.reduce.place.fold import fold
from arranger.reduce.place.pedal import end_of_ring, without_ring
from arranger.reduce.place.placed import place, refuse, unplayable
from arranger.reduce.place.transpose import choose_transposition
from arranger.reduce.worth.weigh import weigh

if TYPE_CHECKING:
    from collections.abc import Mapping

    from arranger.columns import Bools, Floats, Ints
    from arranger.engine.model import DrumSound, Engine
    from arranger.grid.model import Grid
    from arranger.reduce.choose.candidates import ChoiceProblem, Tones
    from arranger.reduce.choose.costs import Costs
    from arranger.reduce.choose.groove import Groove, Hits
    from arranger.reduce.choose.rates import Rates
    from arranger.reduce.model import TexturePassage
    from arranger.reduce.place.placed import Placed
    from arranger.reduce.worth.weights import Weights
    from arranger.settings import ReduceSettings
    from arranger.song.model import Song


class Prepared(NamedTuple):
    """All that is known before anything is decided."""

    engine: Engine
    passages: tuple[TexturePassage, ...]
    """The textures, in order."""
    broken: Bools
    """Shape (steps,): where the texture is ``broken-chord``."""
    lines: Bools
    """Shape (parts,): which parts may answer the tune."""
    costs: Costs
    weights: Weights
    transpose: int
    placed: Placed
    ids: Ints
    """Shape (n,): the notes that may sound in a voice."""
    tone_of: Ints
    """Shape (n,): the tone of each."""
    tones: Tones
    sounds: Mapping[int, DrumSound | None]
    """The sound of each percussion key that the song asks for, or None."""
    groove: Groove
    harm: Floats
    """What each hit of the groove hides."""
    hits: Hits
    """The drums that sound."""
    problem: ChoiceProblem


def prepare(
    song: Song, engine: Engine, grid: Grid, settings: ReduceSettings, weights: Weights | None = None
) -> Prepared:
    """Weigh the notes, fold them, and list what there is to choose from.

    ``weights`` are those of another reduction of the song, if there was one.

    Raises `SettingsError` if a setting names a part that the song doesn't have, a cost that doesn't
    exist, or a drum sound that the engine doesn't have.
    """
    costs = costs_from(settings.costs)
    lines = without_ring(song)
    weights = weigh(lines, settings, weights)
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
    sounds = sounds_by_key(engine, set(placed.pitch[placed.drum].tolist()), settings)
    off = np.isin(placed.pitch, list(left_out(sounds, settings)))
    placed = refuse(placed, np.flatnonzero(placed.drum & placed.usable & off), "track-muted")
    ids = np.flatnonzero(placed.usable & ~placed.drum)
    named = textures_of_bars(grid, settings)
    asked = named != "auto"
    material = material_of(song, placed, weights, grid)
    chords = np.where(chords_prevail(material.shares), "broken-chord", "tune-and-bass")
    of_bars = np.where(asked, named, chords)
    textures = np.repeat(of_bars, [bar.steps for bar in grid.bars])
    broken = textures == "broken-chord"
    used = weights_by_texture(lines, weights, textures, placed.onset)
    as_written = settings.texture == "as-written"
    tones, tone_of = gather_tones(
        ids,
        pitch_out[ids],
        placed.onset[ids],
        placed.end[ids] if as_written else _ends(song, lines, placed, used, ids),
        placed.part[ids],
        released=placed.released[ids],
        offset=placed.offset[ids],
        weights=used,
        costs=costs,
        separate_parts=as_written,
    )
    drums = np.flatnonzero(placed.usable & placed.drum)
    groove = groove_of(
        song.columns, drums, sounds, engine, grid, amount=settings.drums, costs=costs
    )
    harm = np.zeros(len(groove.hits.steps))
    if groove.hits.silent(engine).any():
        harm = harm_of(groove, _laid_out(tones, engine, grid, broken), engine, costs)
    hits = groove.hits if as_written else groove.chosen(harm)
    return Prepared(
        engine=engine,
        passages=passages(of_bars, asked, material, grid),
        broken=broken,
        lines=material.lines,
        costs=costs,
        weights=weights,
        transpose=transpose,
        placed=placed,
        ids=ids,
        tone_of=tone_of,
        tones=tones,
        sounds=sounds,
        groove=groove,
        harm=harm,
        hits=hits,
        problem=_laid_out(tones, engine, grid, broken, hits),
    )


def with_hits(prepared: Prepared, grid: Grid, hits: Hits) -> Prepared:
    """Return what is prepared, with other drums."""
    problem = _laid_out(prepared.tones, prepared.engine, grid, prepared.broken, hits)
    return prepared._replace(hits=hits, problem=problem)


def _laid_out(
    tones: Tones, engine: Engine, grid: Grid, broken: Bools, hits: Hits | None = None
) -> ChoiceProblem:
    """Return the problem when these drums sound; None: none."""
    return lay_out(
        tones,
        steps=grid.steps,
        steps_per_beat=float(1 / grid.step_beats),
        hit_steps=NO_STEPS if hits is None else hits.steps,
        silent_steps=NO_STEPS if hits is None else hits.steps[hits.silent(engine)],
        more_bounds=_more_bounds(grid, broken),
        gaps_are_short=engine.gap is not None,
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


def rates(prepared: Prepared, grid: Grid) -> Rates:
    """Return what everything costs under the texture.

    Raises `SettingsError` if the costs are too large for so long a song.
    """
    problem, broken = prepared.problem, prepared.broken
    found = rates_of(problem, prepared.costs, grid.step_length.seconds)
    if not broken.any():
        return found
    turn, free = out_of_turn(problem, prepared.costs, grid, broken, prepared.lines)
    return found._replace(turn=turn, free=free)
