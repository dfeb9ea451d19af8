"""The account of a conversion as columns: what every output of this layer is written from.

One entry a note of ``Song.notes`` in every column, in that order. Columns, not records, because a
song of thousands of notes is written three times (JSON, CSV, page), and because the page embeds
them as they are.

Bars and beats are the sheet's, so that the account, the sheet and the sentences speak of the same
bar. A note outside the converted passage has no place in the sheet: its bar is counted on from the
passage by the song's own metre, and its ``bar_index`` is -1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import joined_texts, numbered_values
from arranger.reduce.reasons import OUTCOMES, REASONS
from arranger.reduce.tell.sentences import explanations
from arranger.report.remember import remembered
from arranger.song.time import seconds_at, song_bars

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from arranger.columns import TextColumn
    from arranger.conversion import Conversion
    from arranger.grid.model import Grid
    from arranger.song.model import Song


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Account:
    """The notes of a song and what became of them, column by column."""

    outcome: NDArray[np.int64]
    """Indices into `OUTCOMES`."""
    all_reasons: Sequence[tuple[str, ...]]
    """The different reasons that notes have, and which of them each has: indices."""
    reason: NDArray[np.int64]
    decided: NDArray[np.int64]
    """Indices into `REASONS` of the first reason; -1 for a note kept as written."""
    onset_seconds: list[float]
    """By the song's own tempo map, rounded to microseconds."""
    bar: list[int]
    """As people count: the sheet's bar numbers. A note whose bar isn't there has that of the bar
    before, or a number that goes on before the first or after the last."""
    song_bar: list[int]
    """As the song counts, which is the same where no hand put bars in or took them out."""
    beat: list[float]
    """In beats of the metre, from 1; rounded to 1/10000."""
    bar_index: NDArray[np.int64]
    """Index into ``Grid.bars``, or -1 for a note outside the passage."""

    def __post_init__(self) -> None:
        for column in (self.outcome, self.decided, self.bar_index):
            column.setflags(write=False)

    def totals(self) -> Mapping[str, int]:
        """Return the number of notes and of each outcome."""
        counts = np.bincount(self.outcome, minlength=len(OUTCOMES)).tolist()
        return {"notes": len(self.outcome), **dict(zip(OUTCOMES, counts, strict=True))}

    def reasons(self) -> Mapping[str, int]:
        """Return how many notes each reason decided, most frequent first."""
        return reason_counts(self.decided)


def outcome_indices(outcomes: Iterable[str]) -> NDArray[np.int64]:
    """Return outcomes as indices into `OUTCOMES`."""
    return np.array([_OUTCOME_AT[outcome] for outcome in outcomes], dtype=np.int64)


def reason_counts(decided: NDArray[np.int64]) -> Mapping[str, int]:
    """Return how often each reason stands in a column of indices, most frequent first."""
    counts = np.bincount(decided[decided >= 0], minlength=len(REASONS)).tolist()
    found = [(count, name) for name, count in zip(REASONS, counts, strict=True) if count]
    return {name: count for count, name in sorted(found, key=lambda each: -each[0])}


_OUTCOME_AT = {name: index for index, name in enumerate(OUTCOMES)}
_REASON_AT = {name: index for index, name in enumerate(REASONS)}


@remembered
def account_of(conversion: Conversion) -> Account:
    """Return the account of a conversion, which all outputs share."""
    song, grid = conversion.song, conversion.grid
    entry, onsets = conversion.reduction.ledger.columns, song.columns.onset
    bar_index, bar_numbers, song_numbers, beats = _places(song, grid, onsets)
    reasons, reason = numbered_values(entry.reasons)
    firsts = np.array([_REASON_AT[each[0]] if each else -1 for each in reasons], dtype=np.int64)
    return Account(
        outcome=outcome_indices(entry.outcome),
        all_reasons=reasons,
        reason=reason,
        decided=firsts[reason],
        onset_seconds=np.round(seconds_at(song, onsets), 6).tolist(),
        bar=bar_numbers.tolist(),
        song_bar=song_numbers.tolist(),
        beat=np.round(beats, 4).tolist(),
        bar_index=bar_index,
    )


def sentences_of(conversion: Conversion, notes: range | None = None) -> list[str]:
    """Return one sentence for each of some notes; None: for all."""
    return joined_texts(sentence_columns(conversion, notes))


@remembered
def sentence_columns(conversion: Conversion, notes: range | None) -> tuple[TextColumn, ...]:
    """Return the same as columns of texts that follow each other."""
    found = account_of(conversion)
    return explanations(
        conversion.song,
        conversion.grid,
        conversion.reduction,
        bars=found.bar,
        song_bars=found.song_bar,
        beats=found.beat,
        notes=notes,
    )


def _places(
    song: Song, grid: Grid, onsets: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Return bar index, bar number, the song's number and beat of each note, of shape (notes,)."""
    firsts = np.array([bar.first_step for bar in grid.bars])
    numbers = np.array([bar.number for bar in grid.bars])
    songs = np.array(
        [bar.number if bar.song_number is None else bar.song_number for bar in grid.bars]
    )
    # steps * beats/step * metre units/beat = metre units
    units = np.array([float(grid.step_beats) * bar.denominator / 4 for bar in grid.bars])
    lengths = np.array([bar.steps for bar in grid.bars])
    steps = np.asarray(grid.onset_steps)
    index = np.maximum(np.searchsorted(firsts, steps, side="right") - 1, 0)
    bar, in_song = numbers[index], songs[index]
    # The bar is that of the step; the beat is the written one if it lies in that bar.
    place = np.asarray(grid.positions, dtype=np.float64) - firsts[index]
    place = np.where((place >= 0) & (place < lengths[index]), place, steps - firsts[index])
    beat = 1.0 + place * units[index]
    outside = steps < 0
    if outside.any():
        index[outside] = -1
        in_song[outside], beat[outside] = _places_in_song(song, grid, onsets[outside])
        there = np.array([bar.in_song for bar in grid.bars])
        bar[outside] = _joining(in_song[outside], numbers[there], songs[there])
    return index, bar, in_song, beat


def _places_in_song(
    song: Song, grid: Grid, ticks: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return bar number and beat by the song's metre, numbered as the song's bars in the sheet are."""
    found = song_bars(song)
    starts = np.array([bar.start for bar in found])
    units = np.array([bar.denominator / (4 * song.ticks_per_beat) for bar in found])
    at_first = int(np.searchsorted(starts, grid.first_tick, side="right"))
    index = np.searchsorted(starts, ticks, side="right") - 1
    first = grid.bars[0].number if grid.first_number is None else grid.first_number
    number = index + 1 + first - max(at_first, 1)
    return number, 1.0 + (ticks - starts[index]) * units[index]


def _joining(
    outside: NDArray[np.int64], numbers: NDArray[np.int64], songs: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Return numbers for bars of the song that aren't in the sheet.

    Before and after all that are there they count on from these; between them they are that of the
    one before.

    ``outside``: the song's numbers of the bars, of shape (notes,).
    ``numbers``, ``songs``: the sheet's and the song's numbers of the song's bars that are in the
    sheet, of shape (bars,).
    """
    if not len(songs):
        return outside
    order = np.argsort(songs, kind="stable")
    after = np.searchsorted(songs[order], outside, side="right")
    near = order[np.maximum(after - 1, 0)]
    ends = (after == 0) | (after == len(order))
    found: NDArray[np.int64] = numbers[near] + np.where(ends, outside - songs[near], 0)
    return found
