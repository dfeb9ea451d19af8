"""The reduction of a song, from its notes on the grid to rows and ledger."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.errors import LawError
from arranger.reduce.account import Accountant
from arranger.reduce.attacks import perform
from arranger.reduce.candidates import MOST_CANDIDATES, gather_tones, lay_out
from arranger.reduce.cost import costs_from
from arranger.reduce.drums import drum_candidates
from arranger.reduce.fold import fold
from arranger.reduce.ledger import Ledger
from arranger.reduce.model import Reduction
from arranger.reduce.optimum import solve
from arranger.reduce.placed import place, refuse, unplayable
from arranger.reduce.salience import weigh
from arranger.reduce.terms import price
from arranger.reduce.transpose import choose_transposition
from arranger.sheet.model import REST

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.grid.model import Grid
    from arranger.settings import ReduceSettings
    from arranger.song.model import Song


def reduce(song: Song, engine: Engine, grid: Grid, settings: ReduceSettings) -> Reduction:
    """Give the song's notes to two voices and the drums, and account for each.

    Raises
    ------
    SettingsError
        If a setting names a part that the song doesn't have, or a cost that doesn't exist.
    LawError
        If something sounds that no note asked for, which is a defect of this program.
    """
    costs = costs_from(settings.costs)
    weights = weigh(song, engine, grid, settings)
    transpose = choose_transposition(song, engine, grid, weights, settings)
    placed = place(song, grid, weights.roles)
    pitch_out = fold(placed.pitch + transpose, engine)
    placed = refuse(placed, unplayable(placed, pitch_out), "outside-pitch-table")

    ids = np.flatnonzero(placed.usable & ~placed.drum)
    tones, tone_of = gather_tones(
        ids,
        pitch_out[ids],
        placed.onset[ids],
        placed.end[ids],
        placed.part[ids],
        weights=weights,
        costs=costs,
    )
    drum_ids = np.flatnonzero(placed.usable & placed.drum).tolist()
    drums = drum_candidates(
        [song.notes[i] for i in drum_ids], engine, grid, amount=settings.drums, costs=costs
    )
    problem = lay_out(
        tones,
        steps=grid.steps,
        steps_per_beat=float(1 / grid.step_beats),
        drum_steps=drums.steps,
        drum_weights=drums.weights,
        drum_is_free=not engine.drum_takes_step,
    )
    optimum = solve(problem, price(problem, costs))
    performance = perform(problem, optimum)
    entries = Accountant(
        placed,
        grid,
        weights,
        problem,
        ids=ids,
        tone_of=tone_of,
        transpose=transpose,
        performance=performance,
        drums=drums,
    ).entries()

    notes = np.append(tones.note, -1)
    names: list[str | None] = [None] * grid.steps
    drum_sources = [-1] * grid.steps
    for step, note, sound in zip(
        drums.steps.tolist(), drums.notes.tolist(), drums.sounds, strict=True
    ):
        if performance.drum_on[step]:
            names[step], drum_sources[step] = sound.name, note
    reduction = Reduction(
        voice1=performance.rows[0],
        voice2=performance.rows[1],
        drums=tuple(names),
        sources1=tuple(notes[performance.sources[0]].tolist()),
        sources2=tuple(notes[performance.sources[1]].tolist()),
        drum_sources=tuple(drum_sources),
        ledger=Ledger(entries=entries, transpose=transpose),
        roles=weights.roles,
        cost=optimum.cost,
        remarks=_remarks(problem.overfull),
        weights=weights,
    )
    check_rows(reduction, engine, len(song.notes))
    return reduction


def check_rows(reduction: Reduction, engine: Engine, notes: int) -> None:
    """Enforce the law: what sounds names its note, and is in the pitch table.

    Raises
    ------
    LawError
        If a step sounds without a note, or a pitch is not in the table.
    """
    for row, sources in (
        (reduction.voice1, reduction.sources1),
        (reduction.voice2, reduction.sources2),
    ):
        cells, origins = np.array(row), np.array(sources)
        if np.any((cells == REST) != (origins < 0)) or np.any(origins >= notes):
            raise LawError("a step sounds without naming its note")
        if not set(np.unique(cells[cells >= 0]).tolist()) <= engine.pitches.keys():
            raise LawError("a tone is not in the pitch table")
    named = [name is not None for name in reduction.drums]
    if named != [note >= 0 for note in reduction.drum_sources]:
        raise LawError("a drum sounds without naming its note")


def _remarks(overfull: int) -> tuple[str, ...]:
    if not overfull:
        return ()
    return (
        f"in {overfull} places more than {MOST_CANDIDATES} tones sound at once; the "
        f"{MOST_CANDIDATES} that matter most were weighed there",
    )
