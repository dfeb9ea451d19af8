"""Choosing the step: what each candidate would cost the music, against the steps it takes.

The unit of cost is one hundredth of the song's notes: a cost of 3 is as bad as a rhythm spoilt for
three notes in a hundred. For each candidate:

===================  ======================================================================
term                 counts
===================  ======================================================================
`MOVED`              each note that doesn't start on a step, by how plainly it is heard: nothing
                     up to 10 ms, a whole note from 50 ms on, evenly in between
                     (30 ms and 80 ms if the beat was tracked)
`COLLIDED`           each note on the same step as one of its part that it should follow: it is lost
                     (`PLAYED_COLLIDED` if the beat was tracked: often it is only played a little off)
`LOST_ATTACK`        each repeated pitch for which no silent step is left before it, where the engine
                     can't rest for less
`GAP`                each repeated pitch that the note before runs into, there: the silent step that
                     it needs, from nothing up to `ARTICULATION_SECONDS` to a note at `HOLE_SECONDS`
`SHORTENED`          each pitched note shorter than half a step, which becomes longer
`DRUM_HOLE`          each moment with a drum, where a drum silences both voices for a whole step:
                     likewise
`BAR_LINE`           each bar line between two steps, as a share of all bar lines
`UNUSED_THIRDS`      a step that divides the beat by three where every note starts on an eighth of
                     it: rows that nobody would count that way
`DOUBLING`           each doubling of the number of steps a beat: memory, and rows to read
`OFF_TEMPO`          each percent beyond 2 by which the engine can't play the tempo
===================  ======================================================================

A step on which the engine misses the tempo by more than `MOST_OFF_TEMPO` isn't offered, unless all do.

The song's **raster** is the coarsest step on which `NEARLY_ALL` attacks stand, as the ear tells, and on
which, while it has fewer than `EASY` steps a beat, at most `FEW` of the notes collide. What a step finer than
that gains for the few other notes is too little to be heard in two voices, and doesn't count; what it gains
where an engine needs silent steps does.

From memory: a displaced onset is noticed from about 10 ms in fast sequences (Friberg and Sundberg
1995). The weights are ours, set so that a musician's choice comes out on the corpora that the
benchmarks measure.
"""

from __future__ import annotations

from math import log2
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import distinct, order_of
from arranger.grid.model import StepChoice
from arranger.grid.passage import NEAR_LINE_BEATS, too_long
from arranger.grid.steps.place import half_up
from arranger.settings import STEP_CHOICES

if TYPE_CHECKING:
    from fractions import Fraction

    from arranger.columns import Bools, Floats, Ints
    from arranger.engine.model import Engine
    from arranger.grid.attacks import Attacks
    from arranger.grid.timeline import Timeline
    from arranger.settings import GridSettings
    from arranger.song.notes import TimedColumns

MOVED = 1.0
COLLIDED, PLAYED_COLLIDED = 3.0, 1.0
LOST_ATTACK = 0.5
GAP = 0.25
SHORTENED = 0.05
DRUM_HOLE = 0.5
BAR_LINE = 0.5
UNUSED_THIRDS = 2.0
DOUBLING = 3.0
OFF_TEMPO = 1.0
MOST_OFF_TEMPO = 3.0
"""Percent."""
NEARLY_ALL, FEW = 0.97, 0.01
EASY = 4
"""Rows of up to so many steps a beat are easily counted (common practice, no source)."""

UNHEARD_SECONDS, PLAIN_SECONDS = 0.010, 0.050
PLAYED_UNHEARD_SECONDS, PLAYED_PLAIN_SECONDS = 0.030, 0.080
"""For songs whose beat was tracked: what is moved there is mostly the player's own unevenness."""
ARTICULATION_SECONDS = 0.130
"""A silence up to this long is heard as articulation."""
HOLE_SECONDS = 0.250
"""A silence this long breaks a tune: about a crotchet at a quick tempo."""
PLAINLY = 0.5
"""From so much of a whole displaced note on, it is told as one."""
HALF_STEP = 0.5 - 1e-9
"""Half a step but for rounding errors, so that equal lengths count alike wherever they stand."""
ROUNDING = 1e-9
ON_STEP_BEATS = 0.01
"""A note this near to a step counts as on it."""


class _Onsets(NamedTuple):
    """The song as the choice looks at it: attacks of parts, and pairs of equal pitches."""

    moments: Floats
    """Shape (attacks,): beats of the attacks of all parts together."""
    beats: Floats
    """Shape (onsets,): each attack of each part, ordered by part, then time."""
    notes: Ints
    """Shape (onsets,): how many notes start there."""
    follows: Bools
    """Shape (onsets - 1,): whether onset i + 1 is of the same part as onset i."""
    repeats: Floats
    """Shape (repeats, 2): beats of an attack and of the next attack of the same part and pitch."""
    rests: Floats
    """Shape (repeats,): beats of silence between the two."""
    length_beats: Floats
    """Shape (pitched notes,)."""
    drum_moments: int
    """How many attacks have a drum among their notes."""


def choose_step(
    notes: TimedColumns,
    attacks: Attacks,
    timeline: Timeline,
    engine: Engine,
    settings: GridSettings,
    bars: tuple[int, int],
) -> tuple[StepChoice, ...]:
    """Return all candidates, best first; the first is the choice.

    Only notes that start in the passage count: ``bars`` are the indices of its first and last bar. A
    step that the settings ask for comes first whatever it costs.

    Raises `LimitError` if every candidate would take more steps than the settings allow.
    """
    lines = timeline.bar_beats[bars[0] : bars[1] + 2]
    onsets = _onsets(notes, attacks, timeline, lines)
    candidates = [*STEP_CHOICES]
    if settings.step and settings.step not in candidates:
        candidates.append(settings.step)
    played = timeline.basis == "tracked"
    weighed = [_weigh(onsets, lines, timeline.bpm, played, engine, step) for step in candidates]
    capped = _capped(weighed, int(onsets.notes.sum()))
    in_tempo = [
        choice
        for choice in capped
        if off_tempo_percent(engine, timeline.bpm, choice.step_beats) <= MOST_OFF_TEMPO
        or choice.step_beats == settings.step
    ]
    found = in_tempo or capped
    asked = [choice for choice in found if settings.step in {None, choice.step_beats}]
    if all(choice.steps > settings.max_steps for choice in asked):
        raise too_long(min(choice.steps for choice in asked), settings.max_steps)
    return tuple(
        sorted(
            found,
            key=lambda choice: (
                choice.step_beats != settings.step,
                choice.steps > settings.max_steps,
                choice.cost,
                -choice.step_beats,
            ),
        )
    )


class _Weighed(NamedTuple):
    choice: StepChoice
    on_step: float
    """Share of the attacks that stand on it, as the ear tells."""
    rhythm: float
    """What of the cost is for where notes stand and how short they are."""


def _capped(weighed: list[_Weighed], notes: int) -> list[StepChoice]:
    """Return the candidates, those finer than the raster with the raster's cost of the rhythm at least."""
    raster = next((each for each in weighed if _holds_nearly_all(each, notes)), None)
    if raster is None:
        return [each.choice for each in weighed]
    return [
        each.choice._replace(cost=each.choice.cost + max(raster.rhythm - each.rhythm, 0.0))
        if each.choice.step_beats < raster.choice.step_beats
        else each.choice
        for each in weighed
    ]


def _holds_nearly_all(weighed: _Weighed, notes: int) -> bool:
    few = weighed.choice.collided <= FEW * notes
    return weighed.on_step >= NEARLY_ALL and (few or weighed.choice.step_beats * EASY <= 1)


def _onsets(notes: TimedColumns, attacks: Attacks, timeline: Timeline, lines: Floats) -> _Onsets:
    """Return what starts between the first and the last bar line."""
    attack_beats = attacks.mean(timeline.onset_beats)
    attack_inside = attack_beats >= lines[0] - NEAR_LINE_BEATS
    attack_inside &= attack_beats < lines[-1] - NEAR_LINE_BEATS
    inside = attack_inside[attacks.of_note]
    key = (notes.part * attacks.count + attacks.of_note)[inside]
    unique, counted = np.unique(key, return_counts=True)
    part, attack = np.divmod(unique, attacks.count)
    pitched = np.flatnonzero(~notes.drum & inside)
    order = pitched[order_of(attacks.of_note[pitched], notes.pitch[pitched], notes.part[pitched])]
    before, after = order[:-1], order[1:]
    again = (notes.part[before] == notes.part[after]) & (notes.pitch[before] == notes.pitch[after])
    again &= attacks.of_note[before] != attacks.of_note[after]
    beats = attack_beats[attacks.of_note]
    length = timeline.end_beats - timeline.onset_beats
    return _Onsets(
        moments=attack_beats[attack_inside],
        beats=attack_beats[attack],
        notes=counted,
        follows=part[1:] == part[:-1],
        repeats=np.stack((beats[before[again]], beats[after[again]]), axis=1),
        rests=beats[after[again]] - timeline.end_beats[before[again]],
        length_beats=length[pitched],
        drum_moments=len(distinct(attacks.of_note[notes.drum & inside])) if len(pitched) else 0,
    )


def _weigh(
    onsets: _Onsets, bar_lines: Floats, bpm: float, played: bool, engine: Engine, step: Fraction
) -> _Weighed:
    per_beat = float(1 / step)
    origin = bar_lines[0]
    positions = (onsets.beats - origin) * per_beat
    steps = half_up(positions)
    off_beats = np.abs(positions - steps) / per_beat
    off_seconds = off_beats * 60.0 / bpm
    unheard, plain, lost_note = UNHEARD_SECONDS, PLAIN_SECONDS, COLLIDED
    if played:
        unheard, plain = PLAYED_UNHEARD_SECONDS, PLAYED_PLAIN_SECONDS
        lost_note = PLAYED_COLLIDED
    heard = np.clip((off_seconds - unheard) / (plain - unheard), 0.0, 1.0)
    collides = (np.diff(steps) == 0) & onsets.follows
    collided = int(onsets.notes[1:][collides].sum())
    repeat_steps = half_up((onsets.repeats - origin) * per_beat)
    is_lost = np.diff(repeat_steps, axis=1)[:, 0] == 1
    lost = int(np.count_nonzero(is_lost))
    shortened = int(np.count_nonzero(onsets.length_beats * per_beat < HALF_STEP))
    lines = (bar_lines - origin) * per_beat
    lines_off = np.mean(np.abs(lines - half_up(lines)) > ON_STEP_BEATS * per_beat)
    eighths = (onsets.beats - origin) * 8.0
    straight = bool(np.all(np.abs(eighths - half_up(eighths)) < ON_STEP_BEATS * 8.0))
    total = max(int(onsets.notes.sum()), 1)
    gaps = int(np.count_nonzero((onsets.rests * per_beat < HALF_STEP) & ~is_lost))
    hole = _hole(float(step) * 60.0 / bpm)
    rhythm = (
        100.0
        / total
        * (
            MOVED * float((heard * onsets.notes).sum())
            + lost_note * collided
            + SHORTENED * shortened
        )
    )
    silences = (LOST_ATTACK * lost + GAP * hole * gaps) * (
        engine.gap is None
    ) + DRUM_HOLE * hole * onsets.drum_moments * engine.drum_takes_step
    cost = (
        rhythm
        + 100.0 * silences / total
        + 100.0 * BAR_LINE * float(lines_off)
        + UNUSED_THIRDS * (straight and step.denominator % 3 == 0)
        + DOUBLING * log2(per_beat)
        + OFF_TEMPO * max(off_tempo_percent(engine, bpm, step) - 2.0, 0.0)
    )
    choice = StepChoice(
        step_beats=step,
        cost=cost,
        steps=max(int(half_up(lines[-1])), 1),
        moved=int(onsets.notes[off_beats > ON_STEP_BEATS].sum()),
        collided=collided,
        shortened=shortened,
        misplaced=int(onsets.notes[heard > PLAINLY].sum()),
    )
    places = (onsets.moments - origin) * per_beat
    off_step = np.abs(places - half_up(places)) / per_beat * 60.0 / bpm
    return _Weighed(
        choice, float(np.mean(off_step <= unheard + ROUNDING)) if len(off_step) else 1.0, rhythm
    )


def _hole(seconds: float) -> float:
    """Return how much of a hole a silence of this length is, 0..1."""
    span = HOLE_SECONDS - ARTICULATION_SECONDS
    return min(max((seconds - ARTICULATION_SECONDS) / span, 0.0), 1.0)


def off_tempo_percent(engine: Engine, bpm: float, step: Fraction) -> float:
    """Return by how many percent the engine's nearest step length misses a tempo."""
    asked = float(step) * 60.0 / bpm
    played = engine.nearest_step_length(asked).seconds
    return 100.0 * (max(played / asked, asked / played) - 1.0)
