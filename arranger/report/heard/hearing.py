"""How much of each note is heard, and of each line of the music on each beat.

The music has four lines: tune, bass, harmony, drums. A note belongs to one of them (`lines_of`); what
the user asked to be left out belongs to none. How much of a note is heard is a share of 100:

- tune and bass: half is its start, half its time. A note that starts up to `ON_TIME` seconds from its
  place has its whole start, one that is `TOO_LATE` off has none. What sounds in another octave counts
  `OTHER_OCTAVE`. A note that runs on from the one before has no start. A bass that lets the rest of its
  chord have turns after its start has all its time.
- harmony: the share of the beats it sounds on in which one of the voices has its pitch, in any octave.
  So a chord that is broken up is whole when each of its tones has its turn on each beat.
- drums: heard or not.

A line is heard on a beat as far as the notes that sound on it are, louder ones counting up to twice
as much. All is counted in whole numbers. The figures are our own judgement, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import begins, distinct, numbered_values, unchanging
from arranger.reduce.perform.heard import audible
from arranger.reduce.reasons import OUTCOMES, REASONS
from arranger.report.account_columns import account_of, outcome_indices
from arranger.report.remember import remembered

if TYPE_CHECKING:
    from arranger.columns import Bools, Floats, Ints
    from arranger.conversion import Conversion
    from arranger.engine.model import Engine
    from arranger.grid.model import Grid
    from arranger.reduce.model import Reduction
    from arranger.song.model import Song

LINES = ("tune", "bass", "harmony", "drums")
TUNE, BASS, HARMONY, DRUMS = range(4)
NO_LINE = -1

ON_TIME = 0.06
TOO_LATE = 0.25
"""Seconds."""
OTHER_OCTAVE = 0.9
CARRIES_LINE = 0.5
"""Tune or bass weight from which a note counts as that line."""

AS_ASKED = frozenset({"track-muted", "silent", "beyond-limit", "by-hand"})
_AS_ASKED = np.array([reason in AS_ASKED for reason in REASONS] + [False])
"""By index of the deciding reason; the last is for -1, no reason."""
_OUTCOME = {name: index for index, name in enumerate(OUTCOMES)}
PARTS_LINE = {name: index for index, name in enumerate(LINES)} | {"muted": NO_LINE}


def lines_told(before: tuple[int | None, ...], after: tuple[int | None, ...]) -> str:
    """Return how much of each line that differs is heard: "tune 80 to 100 %, bass nothing to 5 %"."""
    told = (
        f"{line} {'nothing' if was is None else was} to {'nothing' if then is None else then} %"
        for line, was, then in zip(LINES, before, after, strict=True)
        if was != then
    )
    return ", ".join(told)


class Beats(NamedTuple):
    """The beats of a sheet, as its bars count them."""

    bar: Ints
    """Shape (beats,): index into ``Grid.bars``."""
    number: Ints
    """Shape (beats,): the beat of the bar, from 1."""
    length: Ints
    """Shape (beats,): in 64ths of a whole note."""
    of_step: Ints
    """Shape (steps,): the beat that each step belongs to."""


class AskedLines(NamedTuple):
    """What a song asks of each line: the rod by which other conversions of it are measured too."""

    line: Ints
    """Shape (notes,): index into `LINES`, or `NO_LINE`."""
    value: Ints
    """Shape (notes,): 50 to 100, by loudness."""


@remembered
def asked_lines(conversion: Conversion) -> AskedLines:
    """Return the line of each note and what it counts.

    Where the reduction weighed each note, a note is tune or bass if it carries that line itself (a
    piano part may have the bass and the chords), else harmony; without weights it is what its part is.
    """
    reduction, columns = conversion.reduction, conversion.song.columns
    of_part = np.array([PARTS_LINE[role.role] for role in reduction.roles], dtype=np.int64)
    line: Ints = of_part[columns.part]
    if reduction.weights is not None:
        pitched = (line != NO_LINE) & (line != DRUMS)
        line[pitched] = HARMONY
        for which, weights in ((BASS, reduction.weights.bass), (TUNE, reduction.weights.tune)):
            line[(weights >= CARRIES_LINE) & pitched] = which
    found = account_of(conversion)
    line[_AS_ASKED[found.decided] | (found.bar_index < 0)] = NO_LINE
    value = 50 + np.rint(columns.loudness * 50).astype(np.int64)
    return AskedLines(unchanging(line), unchanging(value))


def beats_of(grid: Grid) -> Beats:
    """Return the beats of a grid's bars; one that is shorter than a step may have none."""
    bars = np.array([bar[1:5] for bar in grid.bars], dtype=np.int64).reshape(-1, 4)
    first, steps, _, denominator = bars.T
    bar = np.repeat(np.arange(len(bars)), steps)
    step = grid.step_beats
    # steps * (quarter notes/step) / (quarter notes/beat) = beats
    beat = (np.arange(grid.steps) - first[bar]) * step.numerator * denominator[bar]
    beat //= 4 * step.denominator
    begun = begins(bar) | begins(beat)
    at = np.flatnonzero(begun)
    length = np.maximum(64 // denominator, 1)[bar[at]]
    return Beats(bar[at], beat[at] + 1, length, np.cumsum(begun) - 1)


def first_and_last_beat(song: Song, grid: Grid, beats: Beats, line: Ints) -> tuple[Ints, Ints]:
    """Return the beats on which each note starts and ends, of shape (notes,); pedals don't count."""
    first = np.maximum(grid.onset_steps, 0)
    last = first + _steps_asked(song, grid, line) - 1
    return beats.of_step[first], beats.of_step[np.minimum(last, grid.steps - 1)]


def _steps_asked(song: Song, grid: Grid, line: Ints) -> Ints:
    """Return for how many steps each note is to be heard: while its key is down.

    A note of the tune or the bass gives way to the next of its line, as in one voice it must.
    """
    columns = song.columns
    steps: Ints = np.maximum(grid.end_steps - grid.onset_steps, 1)
    down = columns.duration - columns.rings
    steps = np.where(columns.rings > 0, steps * down // np.maximum(columns.duration, 1), steps)
    for which in (TUNE, BASS):
        notes = np.flatnonzero((line == which) & (grid.onset_steps >= 0))
        onset = grid.onset_steps[notes]
        onsets = np.append(distinct(onset), grid.steps)
        following = onsets[np.searchsorted(onsets, onset, side="right").clip(max=len(onsets) - 1)]
        steps[notes] = np.minimum(steps[notes], following - onset)
    return np.maximum(steps, 1)


def sounding(engine: Engine, reduction: Reduction, beats: Beats) -> Bools:
    """Return which pitch classes of the song are heard on which beat: shape (12, beats)."""
    found = np.zeros((12, len(beats.bar)), dtype=np.bool_)
    for pitch in audible(reduction, engine):
        heard = pitch >= 0
        found[(pitch[heard] - reduction.ledger.transpose) % 12, beats.of_step[heard]] = True
    return found


def heard_shares(song: Song, engine: Engine, grid: Grid, reduction: Reduction, line: Ints) -> Ints:
    """Return how much of each note is heard, 0 to 100; shape (notes,).

    ``song``, ``engine``, ``grid``, ``reduction``: a conversion, or one that was only tried.
    ``line``: the line of each note, as `asked_lines` tells it.
    """
    outcome = outcome_indices(reduction.ledger.columns.outcome)
    heard = np.where(outcome == _OUTCOME["dropped"], 0, 100)
    harmony = (line == HARMONY) & (outcome != _OUTCOME["kept"]) & (outcome != _OUTCOME["merged"])
    if harmony.any():
        beats = beats_of(grid)
        first, last = (each[harmony] for each in first_and_last_beat(song, grid, beats, line))
        sums = np.zeros((12, len(beats.bar) + 1), dtype=np.int64)
        np.cumsum(sounding(engine, reduction, beats), axis=1, out=sums[:, 1:])
        pitch = song.columns.pitch[harmony] % 12
        heard[harmony] = (sums[pitch, last + 1] - sums[pitch, first]) * 100 // (last + 1 - first)
    struck = _steps_asked(song, grid, line)
    partly = (outcome == _OUTCOME["changed"]) | (outcome == _OUTCOME["merged"])
    partly &= (line == TUNE) | (line == BASS)
    merged, bass = outcome == _OUTCOME["merged"], line == BASS
    of_line = _of_lines(reduction, grid, struck, merged=merged, bass=bass)
    return unchanging(np.where(partly, of_line, heard))


def _of_lines(
    reduction: Reduction, grid: Grid, struck: Ints, *, merged: Bools, bass: Bools
) -> Ints:
    """Return how much of each note is heard as of the tune or the bass; shape (notes,)."""
    reasons, reason = numbered_values(reduction.ledger.columns.reasons)

    def told(*names: str) -> Bools:
        return np.array([not {*names}.isdisjoint(each) for each in reasons], dtype=np.bool_)[reason]

    octave = np.where(told("octave-folded", "octave-doubled"), OTHER_OCTAVE, 1.0)
    # A bass that is struck, then lets the rest of its chord have its turns, is whole.
    turns = bass & told("broken-chord")
    time = np.where(turns, 1.0, _time_heard(reduction, grid, struck))
    start = start_heard(late_seconds(reduction, grid))
    as_another = np.where(told("repeat-tied"), 0.5, 1.0)
    share = 100 * octave * np.where(merged, as_another, 0.5 * start + 0.5 * time)
    return np.where(told(*REASONS), share, 100).astype(np.int64)


def start_heard(late: Floats) -> Floats:
    """Return how much of notes' starts is heard, 0 to 1; they are so many seconds late."""
    return np.clip((TOO_LATE - np.abs(late)) / (TOO_LATE - ON_TIME), 0.0, 1.0)


def late_seconds(reduction: Reduction, grid: Grid) -> Floats:
    """Return by how much each note that is heard starts later than the song asks; earlier: below 0."""
    columns = reduction.ledger.columns
    steps = columns.spans.first[:, 1] - grid.positions
    late: Floats = steps * grid.step_length.seconds + np.array(columns.late_seconds)
    return late


def _time_heard(reduction: Reduction, grid: Grid, struck: Ints) -> Floats:
    """Return for how much of its time each note is heard, 0 to 1; its key is down for so many steps."""
    spans = reduction.ledger.columns.spans
    voice, first, steps = spans.cells.T
    start = grid.onset_steps[spans.note]
    end = np.minimum(first + steps, start + struck[spans.note])
    inside = np.maximum(end - np.maximum(first, start), 0) * (voice > 0)
    heard = np.bincount(spans.note, inside, len(struck))
    return np.minimum(heard / np.maximum(struck, 1), 1.0)


class LineHeard(NamedTuple):
    """What each line loses on each beat."""

    beats: Beats
    asked: Bools
    """Shape (4, beats): whether the line has a note there."""
    lost: Ints
    """Shape (4, beats): the share that isn't heard, in thousandths."""


def lines_heard(song: Song, grid: Grid, asked: AskedLines, heard: Ints) -> LineHeard:
    """Return what each line loses on each beat, its notes being heard so far."""
    beats = beats_of(grid)
    first, last = first_and_last_beat(song, grid, beats, asked.line)
    last = np.where(asked.line == DRUMS, first, last)
    count = len(beats.bar)
    whole = np.zeros((4, count), dtype=np.int64)
    got = np.zeros((4, count), dtype=np.int64)
    for line in range(4):
        of_line = (asked.line == line) & (grid.onset_steps >= 0)
        for sums, value in ((whole, asked.value * 100), (got, asked.value * heard)):
            begun = np.bincount(first[of_line], value[of_line], count + 1)
            ended = np.bincount(last[of_line] + 1, value[of_line], count + 1)
            sums[line] = np.rint(np.cumsum(begun - ended))[:count].astype(np.int64)
    # Rounded up, so that only what is whole has lost nothing.
    lost = -((got - whole) * 1000 // np.maximum(whole, 1))
    return LineHeard(beats, whole > 0, lost)
