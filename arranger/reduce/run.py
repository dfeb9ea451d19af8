"""The reduction of a song, from its notes on the grid to rows and ledger."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from arranger.errors import SettingsError
from arranger.reduce.choose.prepare import prepare
from arranger.reduce.ledger import Ledger
from arranger.reduce.model import Reduction
from arranger.reduce.perform.as_written import perform_as_written
from arranger.reduce.perform.byte_limit import fit, song_size, unlimited
from arranger.reduce.perform.heard import Heard, hidden_by
from arranger.reduce.tell.account import account_columns, blame_limit
from arranger.reduce.tell.asked import asked_of

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.grid.model import Grid
    from arranger.reduce.choose.candidates import ChoiceProblem
    from arranger.reduce.choose.prepare import Prepared
    from arranger.reduce.perform.byte_limit import Measure
    from arranger.reduce.perform.performance import Performance
    from arranger.reduce.worth.weights import Weights
    from arranger.settings import ReduceSettings
    from arranger.song.model import Song


def reduce(
    song: Song,
    engine: Engine,
    grid: Grid,
    settings: ReduceSettings,
    measure: Measure | None = None,
    weights: Weights | None = None,
) -> Reduction:
    """Give the song's notes to two voices and the drums, and account for each.

    Parameters
    ----------
    song, engine, grid, settings
        What is to be reduced, and how.
    measure
        Says how many bytes two rows and the drums take, for ``settings.max_bytes``; see
        `arranger.conversion.measure_of`. None: no limit can be kept.
    weights
        What the notes are worth, from another reduction of the song: what they share with these
        settings isn't found again.

    Raises
    ------
    SettingsError
        If a setting names a part that the song doesn't have, or a cost that doesn't exist; or if
        bytes are limited without a measure.
    LimitError
        If the song doesn't fit into ``settings.max_bytes`` however it is simplified.
    """
    prepared = prepare(song, engine, grid, settings, weights)
    if settings.texture == "as-written":
        performance = perform_as_written(song, prepared)
    else:
        performance = unlimited(prepared, grid)
    reduction = _reduction(grid, prepared, performance)
    limit = settings.max_bytes
    if limit is not None and settings.texture != "as-written":
        if measure is None:
            raise SettingsError("bytes are limited, but nothing says how many a sheet takes")
        size = song_size(measure, prepared, performance)
        if size > limit:
            reduction = _fitted(measure, grid, prepared, reduction, size, limit)
    return reduction


def _fitted(
    measure: Measure, grid: Grid, prepared: Prepared, free: Reduction, size: int, limit: int
) -> Reduction:
    """Return the reduction simplified to a limit; ``free`` is the one without it."""
    found = fit(measure, grid, prepared, size, limit)
    reduction = _reduction(grid, prepared, found.performance)
    entries = blame_limit(reduction.ledger.entries, free.ledger.entries)
    heard = {entry.note for entry in free.ledger.entries if entry.outcome != "dropped"}
    lost = sum(entry.outcome == "dropped" for entry in entries if entry.note in heard)
    remark = (
        f"simplified from {size:,} to {found.bytes:,} bytes, since it may take {limit:,}: "
        f"{lost} notes more are left out; more would stay from --max-bytes {found.next_bytes} on"
    )
    return replace(
        reduction,
        ledger=Ledger.of(entries, reduction.ledger.transpose),
        remarks=(*reduction.remarks, remark),
    )


def _reduction(grid: Grid, prepared: Prepared, performance: Performance) -> Reduction:
    names, drum_sources = performance.hits.rows(grid.steps)
    notes = np.append(prepared.problem.tones.note, -1)
    sources = [tuple(notes[source].tolist()) for source in performance.sources]
    hidden = hidden_by(prepared.engine, prepared.engine.sounds, names, grid.step_length)
    heard = Heard(performance.rows, sources, drum_sources, hidden)
    return Reduction(
        voice1=performance.rows[0],
        voice2=performance.rows[1],
        drums=tuple(names),
        sources1=sources[0],
        sources2=sources[1],
        drum_sources=tuple(drum_sources),
        ledger=Ledger(
            columns=account_columns(asked_of(prepared, grid), heard, names),
            transpose=prepared.transpose,
        ),
        roles=prepared.weights.roles,
        passages=prepared.passages,
        remarks=_remarks(prepared.problem),
        weights=prepared.weights,
    )


def _remarks(problem: ChoiceProblem) -> tuple[str, ...]:
    found = []
    if problem.overfull:
        places = "1 place" if problem.overfull == 1 else f"{problem.overfull} places"
        found.append(
            f"in {places} more than {problem.most} tones sound at once; the "
            f"{problem.most} that matter most were weighed there"
        )
    if problem.overlong:
        found.append(
            f"{problem.overlong} notes ring on among so many others that they were taken to end "
            "earlier"
        )
    return tuple(found)
