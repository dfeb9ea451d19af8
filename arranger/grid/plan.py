"""From a song and an engine to a grid: the order of the decisions.

notes ─▶ timeline (beats of the file, the clock, or tracked) ─▶ step ─▶ places ─▶ bars, loop
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.errors import SettingsError, SongError
from arranger.grid.attacks import find_attacks
from arranger.grid.choose import choose_step, off_tempo_percent
from arranger.grid.model import Grid, GridBar
from arranger.grid.notes import note_columns
from arranger.grid.onbeat import follows_own_beat
from arranger.grid.place import half_up, place_ends, place_onsets
from arranger.grid.timeline import file_timeline
from arranger.grid.tracked import beats_elsewhere, tracked_timeline
from arranger.settings import GridSettings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.engine.model import Engine
    from arranger.grid.attacks import Attacks
    from arranger.grid.model import StepChoice
    from arranger.grid.notes import NoteColumns
    from arranger.grid.timeline import Timeline
    from arranger.song.model import Song

_DEFAULTS = GridSettings()


def plan_grid(song: Song, engine: Engine, settings: GridSettings = _DEFAULTS) -> Grid:
    """Decide where every note of a song stands in steps.

    Raises
    ------
    SongError
        If the song holds no notes.
    SettingsError
        If the settings name bars that the song doesn't have.
    LimitError
        If the song would take more steps than the settings allow.
    """
    if not song.notes:
        raise SongError("there are no notes in the song", file=song.file)
    notes = note_columns(song)
    attacks = find_attacks(notes)
    timeline = _timeline(song, notes, attacks, settings)
    choices = choose_step(notes, attacks, timeline, engine, settings)
    step = choices[0].step_beats
    per_beat = float(1 / step)

    lines = _bar_lines(timeline, per_beat)
    positions = (timeline.onset_beats - timeline.bar_beats[0]) * per_beat
    end_positions = (timeline.end_beats - timeline.bar_beats[0]) * per_beat
    onset_steps = place_onsets(positions, attacks)
    end_steps = place_ends(onset_steps, positions, end_positions, notes.part)

    remarks = list(timeline.remarks)
    if settings.bars is None:
        first, last = _sounding_bars(lines, onset_steps, end_steps)
        remarks += _trim_remarks(timeline, first, last)
    else:
        first, last = _asked_bars(timeline, settings.bars)
    first_step, end_step = int(lines[first]), int(lines[last + 1])
    inside = (onset_steps >= first_step) & (onset_steps < end_step)
    onset_steps = np.where(inside, onset_steps - first_step, -1)
    end_steps = np.where(inside, np.minimum(end_steps, end_step) - first_step, 0)
    step_length = engine.nearest_step_length(float(step) * 60.0 / timeline.bpm)
    remarks += _choice_remarks(choices, engine, timeline)
    return Grid(
        step_beats=step,
        basis=timeline.basis,
        first_tick=int(timeline.bar_ticks[first]),
        steps=end_step - first_step,
        bars=_grid_bars(timeline, lines, first, last),
        step_length=step_length,
        asked_bpm=timeline.bpm,
        onset_steps=onset_steps,
        end_steps=end_steps,
        positions=positions - first_step,
        beats_seconds=timeline.beats_seconds[int(timeline.bar_beats[first]) :],
        alternatives=choices,
        remarks=tuple(remarks),
    )


def _timeline(song: Song, notes: NoteColumns, attacks: Attacks, settings: GridSettings) -> Timeline:
    if settings.beat != "file":
        verdict = follows_own_beat(song)
        if (
            settings.beat == "track"
            or not verdict.follows
            or beats_elsewhere(song, notes, attacks, verdict)
        ):
            tracked = tracked_timeline(song, notes, attacks, verdict, settings)
            if tracked is not None:
                return tracked
    return file_timeline(song, notes, settings)


def _bar_lines(timeline: Timeline, per_beat: float) -> NDArray[np.int64]:
    """Return the step of each bar line; the last is moved on until every bar has a step."""
    lines = half_up((timeline.bar_beats - timeline.bar_beats[0]) * per_beat)
    lines[-1] = max(lines[-1], lines[-2] + 1)
    return lines


def _sounding_bars(
    lines: NDArray[np.int64], onset_steps: NDArray[np.int64], end_steps: NDArray[np.int64]
) -> tuple[int, int]:
    """Return the first and the last bar that has sound in it."""
    first = int(np.searchsorted(lines, onset_steps.min(), side="right")) - 1
    # A tone that dies away just over the last bar line takes no further bar.
    last = int(np.searchsorted(lines, max(onset_steps.max() + 1, end_steps.max()), side="left")) - 1
    return max(first, 0), min(max(last, first), len(lines) - 2)


def _asked_bars(timeline: Timeline, asked: tuple[int, int]) -> tuple[int, int]:
    numbers = [label.number for label in timeline.labels]
    first, last = asked
    if first > last:
        raise SettingsError(
            f"bars {first}-{last} run backwards", remedy="give --bars as FIRST-LAST"
        )
    for number in asked:
        if number not in numbers:
            raise SettingsError(
                f"the song has no bar {number}", remedy=f"it has bars {numbers[0]} to {numbers[-1]}"
            )
    return numbers.index(first), numbers.index(last)


def _grid_bars(
    timeline: Timeline, lines: NDArray[np.int64], first: int, last: int
) -> tuple[GridBar, ...]:
    """Return the bars of the sheet; a bar shorter than half a step has none of its own."""
    origin = int(lines[first])
    return tuple(
        GridBar(label.number, int(begin) - origin, int(end - begin), *label[1:])
        for label, begin, end in zip(
            timeline.labels[first : last + 1],
            lines[first : last + 1],
            lines[first + 1 : last + 2],
            strict=True,
        )
        if end > begin
    )


def _trim_remarks(timeline: Timeline, first: int, last: int) -> list[str]:
    dropped = [(first, "before the first note"), (len(timeline.labels) - 1 - last, "at the end")]
    return [
        f"{count} silent {'bar' if count == 1 else 'bars'} {where} left out"
        for count, where in dropped
        if count > 0
    ]


def _choice_remarks(
    choices: tuple[StepChoice, ...], engine: Engine, timeline: Timeline
) -> list[str]:
    best = choices[0]
    remarks = []
    off = off_tempo_percent(engine, timeline.bpm, best.step_beats)
    if off > 2.0:
        remarks.append(
            f"the engine's nearest step is {off:.1f} % off the tempo of {timeline.bpm:.4g} beats "
            "a minute; another --step may come nearer"
        )
    finer = [c for c in choices[1:] if c.collided < best.collided]
    if finer:
        other = min(finer, key=lambda choice: (choice.collided, choice.steps))
        remarks.append(
            f"{best.collided} {_notes(best.collided)} on the same step as the note before; "
            f"--step {other.step_beats} would leave {other.collided} such, "
            f"in {other.steps} steps instead of {best.steps}"
        )
    return remarks


def _notes(count: int) -> str:
    return "note starts" if count == 1 else "notes start"
