"""From a song and an engine to a grid: the order of the decisions.

notes ─▶ timeline (beats of the file, the clock, or tracked) ─▶ swing ─▶ step ─▶ places ─▶ passage,
loop, sections
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from arranger.errors import ArrangerError, SongError
from arranger.grid.attacks import find_attacks
from arranger.grid.loops import asked_loop, leads_back, loop_marks
from arranger.grid.model import Grid
from arranger.grid.onbeat import follows_own_beat
from arranger.grid.passage import choose_passage, rough_bars
from arranger.grid.remarks import step_remarks, tempo_remarks
from arranger.grid.sections import alike_bars, find_sections
from arranger.grid.steps.choose import choose_step
from arranger.grid.steps.place import half_up, place_ends, place_onsets, place_played
from arranger.grid.steps.swing import PLAYED, STRAIGHT, carry, find_swing
from arranger.grid.timeline import file_timeline
from arranger.grid.tracked import beats_elsewhere, tracked_timeline
from arranger.settings import GridSettings
from arranger.song.time import timed_columns

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.grid.attacks import Attacks
    from arranger.grid.model import GridBar
    from arranger.grid.passage import Passage
    from arranger.grid.timeline import Timeline
    from arranger.song.model import Song
    from arranger.song.notes import TimedColumns

_DEFAULTS = GridSettings()


def plan_grid(
    song: Song, engine: Engine, settings: GridSettings = _DEFAULTS, before: Grid | None = None
) -> Grid:
    """Decide where every note of a song stands in steps.

    Parameters
    ----------
    song, engine, settings
        What is to be placed, and how.
    before
        The song's grid by other settings: its beats are taken over where these ask for the same.

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
    try:
        return _plan(song, engine, settings, before)
    except ArrangerError as error:
        raise error.in_file(song.file) from None


def _plan(song: Song, engine: Engine, settings: GridSettings, before: Grid | None) -> Grid:
    notes = timed_columns(song)
    attacks = find_attacks(notes)
    asked = None if before is None or not _same_beats(before, settings) else before.timeline
    if asked is None:
        asked = _timeline(song, notes, attacks, settings)
    timeline = _swung(asked, attacks, settings)
    bars = rough_bars(timeline, settings)
    choices = choose_step(notes, attacks, timeline, engine, settings, bars)
    step = choices[0].step_beats
    per_beat = float(1 / step)

    origin = timeline.bar_beats[0]
    positions = (timeline.onset_beats - origin) * per_beat
    end_positions = (timeline.end_beats - origin) * per_beat
    steps_a_beat = Fraction(timeline.beat_length) / step
    if timeline.basis == "tracked" and steps_a_beat.denominator == 1:
        onset_steps = place_played(positions, attacks, int(steps_a_beat))
    else:
        onset_steps = place_onsets(positions, attacks)
    # The first attack of a played song may come a little before its beat.
    onset_steps = np.maximum(onset_steps, 0)
    end_steps = place_ends(onset_steps, positions, end_positions, notes.part)
    marks = loop_marks(song)
    end = marks.end if settings.loop == "auto" else None
    end_mark = None if end is None else _beat_at(timeline, end)
    passage = choose_passage(timeline, per_beat, onset_steps, end_steps, settings, end_mark)
    inside = (onset_steps >= passage.first_step) & (onset_steps < passage.end_step)
    onset_steps = np.where(inside, onset_steps - passage.first_step, -1)
    end_steps = np.where(inside, end_steps - passage.first_step, 0)
    alike = alike_bars(passage.bars, onset_steps, notes.part, notes.pitch)

    converted = slice(passage.first, passage.first + len(passage.bars))
    loop_step, loop_remarks = _loop(song, settings, timeline, passage, per_beat)
    if settings.loop == "auto" and settings.bars is None and marks.start is None:
        back = leads_back(alike, passage.bars, onset_steps, end_steps)
        if back is not None:
            loop_step = passage.bars[back].first_step
            loop_remarks = [
                f"the end leads back to bar {passage.bars[back].number}, so the piece goes round from "
                "there (--loop none: it ends)"
            ]
    return Grid(
        step_beats=step,
        basis=timeline.basis,
        first_tick=int(timeline.bar_ticks[passage.first]),
        steps=passage.end_step - passage.first_step,
        bars=passage.bars,
        bar_ticks=passage.bar_ticks,
        step_length=engine.nearest_step_length(float(step) * 60.0 / timeline.bpm),
        asked_bpm=timeline.bpm,
        onset_steps=onset_steps,
        end_steps=np.minimum(end_steps, passage.end_step - passage.first_step),
        positions=(asked.onset_beats - origin) * per_beat - passage.first_step,
        beats_seconds=timeline.beats_seconds[
            int(timeline.bar_beats[passage.first] / timeline.beat_length) :
        ],
        alternatives=choices,
        sections=find_sections(alike),
        loop_step=loop_step,
        timeline=asked,
        settings=settings,
        doubts=timeline.doubts,
        remarks=(
            *timeline.remarks,
            *passage.remarks,
            *loop_remarks,
            *tempo_remarks(song, timeline, converted, settings),
            *step_remarks(choices, engine, timeline, attacks.mean(timeline.onset_beats), converted),
        ),
    )


def _same_beats(before: Grid, settings: GridSettings) -> bool:
    """Return whether settings ask for the beats of another grid: all but step and swing are alike."""
    same = replace(settings, step=None, swing="auto")
    return before.settings is not None and same == replace(before.settings, step=None, swing="auto")


def _timeline(
    song: Song, notes: TimedColumns, attacks: Attacks, settings: GridSettings
) -> Timeline:
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
    return file_timeline(song, notes, attacks, settings)


def _swung(timeline: Timeline, attacks: Attacks, settings: GridSettings) -> Timeline:
    """Return the timeline with swung off-beats where they will be played."""
    swing = find_swing(attacks.mean(timeline.onset_beats))
    if swing is None:
        return timeline
    straighten = settings.swing == "straighten"
    place = STRAIGHT if straighten else PLAYED
    names = {1.0: "quavers", 0.5: "semiquavers"}
    done = "made even" if straighten else "played two thirds through (--swing straighten: even)"
    remark = (
        f"swing: {swing.off_beats} off-beat {names[swing.unit]} stand at "
        f"{100 * swing.place:.0f} % of their pair, and are {done}"
    )
    return timeline._replace(
        onset_beats=carry(timeline.onset_beats, swing, place),
        end_beats=carry(timeline.end_beats, swing, place),
        remarks=(*timeline.remarks, remark),
    )


def _beat_at(timeline: Timeline, tick: int) -> float:
    """Return where a tick stands, in beats from the first bar line."""
    beat = np.interp(tick, timeline.bar_ticks, timeline.bar_beats)
    return float(beat - timeline.bar_beats[0])


def _loop(
    song: Song, settings: GridSettings, timeline: Timeline, passage: Passage, per_beat: float
) -> tuple[int | None, list[str]]:
    """Return the step that the piece goes back to, and what to say of it."""
    if settings.loop == "none":
        return None, []
    if settings.loop != "auto":
        return asked_loop(settings.loop, passage.bars), []
    marks = loop_marks(song)
    if marks.start is None:
        return None, []
    at = np.array(_beat_at(timeline, marks.start) * per_beat)
    step = int(half_up(at)) - passage.first_step
    if not 0 <= step < passage.end_step - passage.first_step:
        return None, [f"{marks.what} marks a loop from outside of what is converted; left out"]
    bar = _bar_of(passage.bars, step)
    return step, [
        f"{marks.what} marks a loop: after the end it goes on from bar {bar.number} of the song"
    ]


def _bar_of(bars: tuple[GridBar, ...], step: int) -> GridBar:
    return max((bar for bar in bars if bar.first_step <= step), key=lambda bar: bar.first_step)
