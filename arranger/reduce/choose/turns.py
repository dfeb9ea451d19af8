"""Broken chords: whose turn it is in voice 2 at each moment.

Where voice 2 breaks chords it moves on by **turns** of a sixth of a second at most: tones that short
fuse into one chord for the ear (A. Bregman, "Auditory Scene Analysis", 1990, chapter 2, from memory).
Each turn asks for a note that sounds just then: the lowest on each beat and where it changes, else
one of the pitch class that was unheard for longest in its harmony. What the tune sounds counts as
heard. Of classes that weren't heard yet the bass comes first, then fifth, third and root of the triad,
and last what is foreign to it.

What is asked for follows from the notes alone; to do without it costs ``turn``, one term of the
optimum among the others.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.bars import metre_beat
from arranger.compiled import compiled
from arranger.reduce.choose.candidates import IN_LINE
from arranger.reduce.choose.rates import units

if TYPE_CHECKING:
    from arranger.columns import Bools, Ints
    from arranger.grid.model import Grid, GridBar
    from arranger.reduce.choose.candidates import ChoiceProblem
    from arranger.reduce.choose.costs import Costs

_compiled = compiled("arranger.reduce.choose._turns", "da375baa")

LONGEST_TURN = 0.17
"""Seconds, if steps are as short."""

LATER = (0.2, 10.0, 10.0, 0.1, 0.1, 10.0, 10.0, 0.0, 10.0, 10.0, 10.0, 10.0)
"""By how many turns a pitch class is asked for later, by its semitones above the root of the harmony:
fifth, third and root in this order where nothing else tells; what is foreign to the triad when the
rest was heard."""

BASS_SOONER = 2.0
"""By how many turns the class of the bass is asked for sooner."""

REACH = 12
"""Semitones from where voice 1 was that it looks for its turns first."""

RING_SECONDS = 0.5
"""For which a note is asked for after its key is up and only a pedal holds it, unless nothing else sounds."""

UNHEARD = 10
"""Turns before its harmony that a class counts as heard which wasn't yet heard in it."""

_NO_PITCH = 1000
"""Higher than all pitches."""


def turns(grid: Grid, broken: Bools) -> tuple[Ints, Bools]:
    """Return the steps on which turns start, strictly increasing, and which of them are beats.

    ``grid``: bars and steps.
    ``broken``: shape (steps,): where voice 2 breaks chords.
    """
    turn = np.zeros(grid.steps, dtype=np.bool_)
    beat = np.zeros(grid.steps, dtype=np.bool_)
    metres: dict[tuple[int, int, int], list[GridBar]] = {}
    for bar in grid.bars:
        metres.setdefault((bar.numerator, bar.denominator, bar.steps), []).append(bar)
    for bars in metres.values():
        beat_steps, turn_steps = _lengths(bars[0], grid)
        firsts = np.array([bar.first_step for bar in bars])[:, None]
        places = range(0, bars[0].steps, turn_steps)
        turn[firsts + places] = True
        beat[firsts + [place for place in places if place % beat_steps < turn_steps]] = True
    starts = np.flatnonzero(turn & broken)
    return starts, beat[starts]


def _lengths(bar: GridBar, grid: Grid) -> tuple[Fraction, int]:
    """Return the steps of a beat and of a turn in a bar.

    Where a turn takes a whole beat, two count as one, or else the bar: something must be left for
    the other notes.
    """
    beat = metre_beat(bar.numerator, bar.denominator) / grid.step_beats
    longest = int(LONGEST_TURN / grid.step_length.seconds)
    turn = next((turn for turn in range(longest, 1, -1) if beat % turn == 0), 1)
    if beat <= turn:
        beat = 2 * beat if bar.steps % (2 * beat) == 0 else Fraction(bar.steps)
    return beat, turn


def asked_for(problem: ChoiceProblem, grid: Grid, broken: Bools, lines: Bools) -> Ints:
    """Return the pitches that the voices are asked for in each segment; -1 for none. Shape (2, T)."""
    tones, slots = problem.tones, problem.candidates
    starts, are_beats = turns(grid, broken)
    at = np.searchsorted(problem.starts, starts)
    turn, beat, upbeat = (np.zeros(len(slots), dtype=np.bool_) for _ in range(3))
    turn[at], beat[at], upbeat[at] = True, are_beats, np.append(are_beats[1:], True)[: len(at)]
    bar = np.searchsorted([bar.first_step for bar in grid.bars], problem.starts, side="right")
    used = slots >= 0
    tune = _in_tune(problem)
    pitch = np.where(used, np.append(tones.pitch, 0)[slots], _NO_PITCH)
    rung = (
        problem.starts[:, None] - np.append(tones.released, 0)[slots]
    ) * grid.step_length.seconds
    fades = used & ~tune & (rung >= RING_SECONDS)
    fades &= (used & ~tune & ~fades).any(axis=1, keepdims=True)
    pitch = np.where(fades, _NO_PITCH, pitch)
    top = np.where(tune, pitch, -1).max(axis=1)
    chord = np.where(tune | (pitch == top[:, None]), _NO_PITCH, pitch)
    lowest = slots[np.arange(len(slots)), chord.argmin(axis=1)]
    struck = np.append(tones.onset, -1)[lowest] == problem.starts
    in_tune = np.bitwise_or.reduce(np.where(tune, 1 << pitch % 12, 0), axis=1)
    fills = turning(problem, broken, lines)[0]
    root = _roots(pitch, tune, problem.lengths, np.cumsum(beat))
    chord.sort(axis=1)
    chord[:, 1:][chord[:, 1:] == chord[:, :-1]] = _NO_PITCH
    chord.sort(axis=1)
    sounding = np.count_nonzero(chord < _NO_PITCH, axis=1)
    columns = np.array((
        broken[problem.starts], bar, turn, beat, upbeat, struck, in_tune, top, fills, root
    ), dtype=np.int64)  # fmt: skip
    return choose(columns, chord, sounding)


def choose(columns: Ints, chords: Ints, sounding: Ints) -> Ints:
    """Return the pitches that the voices are asked for; shape (2, T).

    ``columns``: shape (10, T): what `Moment` says of each segment, but for its chord.
    ``chords``, ``sounding``: shapes (T, K) and (T,): the pitches of all else that sounds, rising,
    and how many they are.
    """
    if _compiled is None:
        return choose_in_python(columns, chords, sounding)
    found = np.empty((2, len(sounding)), dtype=np.int64)
    _compiled.chosen(columns, chords, sounding, np.array(LATER), found, BASS_SOONER, REACH, UNHEARD)
    return found


def choose_in_python(columns: Ints, chords: Ints, sounding: Ints) -> Ints:
    """Return the same as `choose`."""
    pitches = [row[:many] for row, many in zip(chords.tolist(), sounding.tolist(), strict=True)]
    chooser = _Chooser()
    rows = zip(*columns.tolist(), pitches, strict=True)
    found = [chooser.next(Moment._make(row)) for row in rows]
    return np.array(found, dtype=np.int64).reshape(-1, 2).T


def turning(problem: ChoiceProblem, broken: Bools, lines: Bools) -> Bools:
    """Return in which segments each voice takes turns, if it is to: shape (2, T)."""
    slots, found, tune = problem.candidates, broken[problem.starts], _in_tune(problem)
    line = ~tune & np.append(lines, False)[np.append(problem.tones.part, -1)[slots]]
    rests = _rests(np.any(tune, axis=1), problem)
    return np.stack((found & rests & ~line.any(axis=1), found))


def _in_tune(problem: ChoiceProblem) -> Bools:
    """Return which slots hold a tone of the tune, which is left to voice 1; shape (T, K)."""
    found: Bools = np.append(problem.tones.tune >= IN_LINE, False)[problem.candidates]
    return found


def _rests(tune: Bools, problem: ChoiceProblem) -> Bools:
    """Return in which segments the tune rests for a beat or more; ``tune``: in which it sounds."""
    change = np.diff(tune, prepend=not tune[0])
    run = np.cumsum(change) - 1
    lasting = np.bincount(run, problem.lengths)[run]
    found: Bools = ~tune & (lasting >= problem.steps_per_beat)
    return found


def _roots(pitch: Ints, tune: Bools, lengths: Ints, beat: Ints) -> Ints:
    """Return the root of the triad, major or minor, that the notes of each segment's beat fit best.

    Every note counts by its time, the lowest twice, those of the tune half.

    ``pitch``, ``tune``: shape (T, K).
    ``lengths``, ``beat``: shape (T,): in steps; number of the beat, from 0.
    """
    used = pitch < _NO_PITCH
    weight = lengths[:, None] * np.where(tune, 1, 2)
    weight *= np.where(pitch == pitch.min(axis=1, keepdims=True), 2, 1)
    key = beat[:, None] * 12 + pitch % 12
    classes = np.bincount(key[used], weight[used], minlength=12 * (int(beat.max(initial=0)) + 1))
    classes = classes.reshape(-1, 12)
    fifths = classes + np.roll(classes, -7, axis=1)
    thirds = np.maximum(np.roll(classes, -4, axis=1), np.roll(classes, -3, axis=1))
    found: Ints = (fifths + thirds).argmax(axis=1)[beat]
    return found


class Moment(NamedTuple):
    """What is known of a segment before its turn is given to a note."""

    broken: bool
    """Whether chords are broken here."""
    bar: int
    turn: bool
    """Whether a turn starts here."""
    beat: bool
    """...that starts with a beat."""
    upbeat: bool
    """...after which a beat comes."""
    struck: bool
    """Whether the lowest note starts here."""
    tune: int
    """A bit for each pitch class that the tune has."""
    top: int
    """The tune's pitch, the highest if several; -1 where it rests."""
    fills: bool
    """Whether voice 1 takes turns: the tune rests for a beat, and no line sounds that may answer it."""
    root: int
    """Pitch class of the root of the harmony."""
    chord: list[int]
    """The pitches of all else that sounds, in order, each once."""


class _Chooser:
    """Goes through the segments and chooses what each is asked for."""

    def __init__(self) -> None:
        self._bar = self._bass = -1
        self._asked, self._upper = [-1, -1], [-1, -1]
        self._classes = [(-1, -2), (-1, -2)]  # of the last two turns of each voice
        self._last: dict[int, int] = {}
        self._turns = self._begun = 0

    def next(self, now: Moment) -> tuple[int, int]:
        """Return the pitches that the voices are asked for in a segment; -1 for none."""
        self._turns += now.turn
        chord = now.chord
        if not now.broken or not chord:
            self._asked = [-1, -1]
            return -1, -1
        lowest = chord[0]
        changes = now.struck and lowest % 12 != self._bass
        if now.bar != self._bar or changes:
            self._last, self._begun = {}, self._turns
        self._bar, self._bass = now.bar, lowest % 12
        if now.turn and now.tune:
            self._last.update(dict.fromkeys(_classes(now.tune), self._turns))
        if changes or (now.turn and now.beat):
            self._ask(1, now, lowest)
        else:
            self._turn(1, now, chord[1:] if now.upbeat and len(chord) > 1 else chord)
        if now.top >= 0:
            self._upper[0] = now.top
        if now.fills and len(chord) > 1:
            others = [pitch for pitch in chord if pitch != self._asked[1]]
            near = [pitch for pitch in others if abs(pitch - self._upper[0]) <= REACH]
            self._turn(0, now, near or others)
        else:
            self._asked[0] = -1
        return self._asked[0], self._asked[1]

    def _turn(self, voice: int, now: Moment, chord: list[int]) -> None:
        """Ask a voice for another pitch of the chord if it is time."""
        if now.turn or self._asked[voice] not in chord:
            before = self._classes[voice]
            if now.turn and before[0] == before[1]:  # not a third time
                chord = [pitch for pitch in chord if pitch % 12 != before[0]] or chord
            self._upper[voice] = self._needed(voice, now, chord)
            self._ask(voice, now, self._upper[voice])
        self._last[self._asked[voice] % 12] = self._turns

    def _ask(self, voice: int, now: Moment, pitch: int) -> None:
        self._asked[voice] = pitch
        self._last[pitch % 12] = self._turns
        if now.turn:
            self._classes[voice] = (self._classes[voice][1], pitch % 12)

    def _needed(self, voice: int, now: Moment, chord: list[int]) -> int:
        """Return the pitch that is needed most; of a class the one nearest to the last."""
        last, before, near = self._last, self._begun - UNHEARD, self._upper[voice]
        sooner = self._bass if voice else -1
        waits = [
            (
                last.get(pitch % 12, before)
                + LATER[(pitch - now.root) % 12]
                - (BASS_SOONER if pitch % 12 == sooner else 0.0),
                abs(pitch - near),
                pitch,
            )
            for pitch in chord
        ]
        return min(waits)[2]


@cache
def _classes(bits: int) -> list[int]:
    """Return the pitch classes that have a bit."""
    return [pitch_class for pitch_class in range(12) if bits >> pitch_class & 1]


def out_of_turn(
    problem: ChoiceProblem, costs: Costs, grid: Grid, broken: Bools, lines: Bools
) -> tuple[Ints, Bools]:
    """Return what it costs each voice to hold each slot, by whose turn it is, and where it turns.

    Shapes (2, T, K), in units, and (2, T).
    """
    asked = asked_for(problem, grid, broken, lines)
    pitch = np.append(problem.tones.pitch, -2)[problem.candidates]
    waits = (asked >= 0)[:, :, None] & (pitch != asked[:, :, None])
    a_step = units(costs.turn / problem.steps_per_beat)
    cost: Ints = waits * a_step * problem.lengths[:, None]
    free = asked >= 0
    free[1] = broken[problem.starts]
    return cost, free
