"""Finding the beat of a song from its onsets.

    attacks ─▶ likely period ─▶ pulses followed, rigid to loose ─┐
    the file's own tempo, if the notes keep it ──────────────────┴▶ readings ─▶ beat ─▶ downbeat

A pulse is followed by dynamic programming (`follow`), smoothed (`smooth`), and read at each of its
levels and places (`hypotheses`). A reading's score is a weighted sum of its features; the weights
(``weights.json``) are those of a conditional logit, trained by ``tests/benchmarks/train_beat.py``, so
that exp(score), normalised over the readings, estimates how likely each is.

Knowledge from outside the onsets enters as a prior in the same units:

- `FILE_BEAT`: the notes keep the file's tempo, only not its beats: a recording whose tempo is known
  but not where it starts. Then the file's beat, moved, is very likely the beat.
- `FILE_TEMPO`: the period is near a tempo that the file states, though the notes don't keep it.
- A tempo or a first beat given by the user leaves only the readings that suit it.
"""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import median, unchanging
from arranger.grid.track.beats_heard import follow_heard, hear_beats
from arranger.grid.track.evidence import find_evidence
from arranger.grid.track.follow import Start, follow_beats
from arranger.grid.track.hypotheses import (
    BINS,
    FEATURES,
    PHASE_FEATURES,
    PLACES,
    Pulse,
    Reading,
    phase_features,
    read_pulse,
)
from arranger.grid.track.rivals import NEAR_TEMPO, rivals
from arranger.grid.track.smooth import smooth_beats, whole_beats
from arranger.grid.track.tempo import constant_beats, likely_periods

if TYPE_CHECKING:
    from arranger.columns import Floats
    from arranger.grid.attacks import Attacks
    from arranger.grid.track.beats_heard import HeardBeats
    from arranger.grid.track.evidence import Evidence
    from arranger.grid.track.rivals import Rival
    from arranger.settings import GridSettings
    from arranger.song.notes import TimedColumns

FEWEST_ATTACKS = 8
FEWEST_BEATS = 3
SHORTEST_SONG_SECONDS = 2.0
BEAT_SECONDS = (0.29, 1.35)
"""Shortest and longest period that is taken for a beat unasked: 207 to 44 a minute."""
MANNERS = ((1000.0, 0.04, 30.0, 0.5), (200.0, 0.15, 2.0, 0.0), (40.0, 0.5, 1.0, 0.0))
"""Ways to follow a pulse, rigid to loose: price of missing an attack, share of the error that goes into
the period, stiffness of the smoothing, and how steady it counts."""
HEARD = 4.0
"""What the share of the heard odds that a reading gains counts in its score."""
HEARD_MANNERS = ((30.0, 0.5), (1.0, 0.0))
"""Stiffness of the smoothing of what it hears, and how steady that counts."""
LEAST_SECONDS = 0.1
"""A beat that stands still at an end of the song goes on with this period."""
FILE_BEAT = 8.0
FILE_TEMPO = 1.0
EARLY_BEATS = 0.12
"""A first onset this much before a beat belongs to it, in beats."""
NEAR_BEAT = 0.2
"""How far from the first beat that a user gives a beat may be, in beats."""


class TrackedBeat(NamedTuple):
    """The beat of a song, as found."""

    seconds: Floats
    """Shape (beats,): from at or before the first onset to at or after the last end."""
    likelihood: float
    """0..1, of this reading among all that were weighed."""
    rival_bpm: float
    """Tempo of the likeliest reading of another level; 0 if there is none."""
    sure: float = 1.0
    """0..1, that its beats are where they should be, not only of the right level."""
    others: tuple[Rival, ...] = ()
    """The likeliest other readings."""

    @property
    def bpm(self) -> float:
        """The median tempo, in beats a minute."""
        return 60.0 / float(median(np.diff(self.seconds)))


class FileBeat(NamedTuple):
    """What the file says of its tempo."""

    seconds: Floats
    """Times of its beats, covering the song."""
    kept: bool
    """Whether the notes keep its tempo, at whatever phase."""
    stated: bool
    """Whether the tempo was written into the file, or is only the default."""


def track_beat(
    notes: TimedColumns, attacks: Attacks, file_beat: FileBeat | None, settings: GridSettings
) -> TrackedBeat | None:
    """Return the beat of a song, or None if there is too little to go by."""
    if attacks.count < FEWEST_ATTACKS:
        return None
    evidence = find_evidence(notes, attacks)
    if evidence.seconds[-1] - evidence.seconds[0] < SHORTEST_SONG_SECONDS:
        return None
    heard = hear_beats(notes, attacks, evidence)
    readings = _suiting(all_readings(evidence, file_beat, settings, heard), settings)
    if not readings:
        return None
    scores = np.array([_score(reading, file_beat) for reading in readings])
    scores += HEARD * heard_shares(heard, readings)
    likelihood = np.exp(scores - scores.max())
    likelihood /= likelihood.sum()
    best = readings[int(likelihood.argmax())]
    same = np.array(
        [_level_gap(r.period_seconds, best.period_seconds) < NEAR_TEMPO for r in readings]
    )
    rival = max(
        (index for index in range(len(readings)) if not same[index]),
        key=lambda index: likelihood[index],
        default=None,
    )
    sure, others = rivals(readings, likelihood, int(likelihood.argmax()))
    return TrackedBeat(
        seconds=_covering(best.beats(), evidence.seconds[0], float(notes.end_seconds.max())),
        likelihood=float(likelihood[same].sum()),
        rival_bpm=0.0 if rival is None else 60.0 / readings[rival].period_seconds,
        sure=sure,
        others=others,
    )


def all_readings(
    evidence: Evidence,
    file_beat: FileBeat | None,
    settings: GridSettings,
    heard: HeardBeats | None = None,
) -> list[Reading]:
    """Return every reading that is weighed; a tempo given by the user leaves only those near it.

    Without ``heard`` no pulse is followed by what the network hears.
    """
    shortest, longest = BEAT_SECONDS
    if settings.tempo is not None:
        period = 60.0 / settings.tempo
        shortest, longest = period * np.exp(-NEAR_TEMPO), period * np.exp(NEAR_TEMPO)
    pulses = _pulses(evidence, file_beat, settings)
    if heard is not None:
        pulses += _heard_pulses(heard, evidence, shortest, longest)
    return [
        reading
        for pulse in pulses
        for reading in read_pulse(pulse, evidence, shortest, longest, phase_weights())
        if len(pulse.times) >= FEWEST_BEATS * reading.level + 1
    ]


def _pulses(evidence: Evidence, file_beat: FileBeat | None, settings: GridSettings) -> list[Pulse]:
    seconds, strength = evidence.seconds, evidence.strength
    if settings.tempo is None:
        period = likely_periods(seconds, strength, 1)[0]
    else:
        period = 60.0 / settings.tempo
    pulses = [Pulse(constant_beats(seconds, strength, period), 1.0)]
    starts = tuple(Start(period, price, adapt) for price, adapt, _, _ in MANNERS)
    found = follow_beats(seconds, strength, starts)
    for followed, (_, _, stiffness, steady) in zip(found, MANNERS, strict=True):
        if followed.beats[-1] < FEWEST_BEATS:
            continue
        times = whole_beats(followed.attacks, followed.beats, seconds)
        pulses.append(Pulse(smooth_beats(times, seconds, strength, stiffness), steady))
    if file_beat is not None and file_beat.kept:
        pulses.append(Pulse(file_beat.seconds, 1.0, from_file=True))
    return pulses


def heard_shares(heard: HeardBeats, readings: list[Reading]) -> Floats:
    """Return the log odds that each reading gains by what was heard, as a share of the most that any does."""
    worth = np.array([heard.worth(reading.beats()) for reading in readings])
    shares: Floats = np.maximum(worth / max(float(worth.max()), 1.0), -1.0)
    return shares


def _heard_pulses(
    heard: HeardBeats, evidence: Evidence, shortest: float, longest: float
) -> list[Pulse]:
    times = follow_heard(heard, shortest, longest)
    if len(times) <= FEWEST_BEATS:
        return []
    seconds, strength = evidence.seconds, evidence.strength
    numbers = np.arange(len(times))
    times = whole_beats(numbers, numbers, times)
    return [
        Pulse(smooth_beats(times, seconds, strength, stiffness), steady)
        for stiffness, steady in HEARD_MANNERS
    ]


def file_phase(notes: TimedColumns, attacks: Attacks, file_beat: FileBeat) -> tuple[float, float]:
    """Return where in the file's beat the music's beat most likely falls, and by how much.

    Returns
    -------
    phase, margin
        In beats, -0.5 .. 0.5; and how much better the score is there than on the file's beat.
    """
    scores = phase_features(file_beat.seconds, find_evidence(notes, attacks)) @ phase_weights()
    best = int(scores.argmax())
    phase = PLACES[best] / BINS
    return phase - np.rint(phase), float(scores[best] - scores[0])


def _suiting(readings: list[Reading], settings: GridSettings) -> list[Reading]:
    """Return the readings that suit the first beat that the user gives, or all if none does."""
    if settings.first_beat is not None:
        first = settings.first_beat
        suiting = [
            r for r in readings if np.abs(r.beats() - first).min() < NEAR_BEAT * r.period_seconds
        ]
        readings = suiting or readings
    return readings


def _score(reading: Reading, file_beat: FileBeat | None) -> float:
    score = float(beat_weights() @ reading.features) + reading.phase_score
    if file_beat is not None:
        gap = _level_gap(reading.period_seconds, float(median(np.diff(file_beat.seconds))))
        if file_beat.kept:
            score += FILE_BEAT * (reading.pulse.from_file and reading.level == 1.0)
        elif file_beat.stated:
            score += FILE_TEMPO * (gap < NEAR_TEMPO)
    return score


def _level_gap(period: float, other: float) -> float:
    return abs(float(np.log(period / other)))


def _covering(beats: Floats, first: float, last: float) -> Floats:
    """Return beats from the last one at or before ``first`` to the first at or after ``last``."""
    head = max(float(median(np.diff(beats[:9]))), LEAST_SECONDS)
    tail = max(float(median(np.diff(beats[-9:]))), LEAST_SECONDS)
    before = max(int(np.ceil((beats[0] - first) / head - 0.25)), 0)
    after = max(int(np.ceil((last - beats[-1]) / tail)), 0) + 1
    beats = np.concatenate(
        (
            beats[0] - head * np.arange(before, 0, -1),
            beats,
            beats[-1] + tail * np.arange(1, after + 1),
        )
    )
    begin = int(np.searchsorted(beats - EARLY_BEATS * head, first, side="right")) - 1
    end = int(np.searchsorted(beats, last, side="left"))
    return beats[max(begin, 0) : end + 2]


@cache
def beat_weights() -> Floats:
    """Return the weights of a reading's features, in the order of `FEATURES`."""
    return unchanging(np.array([_weights()["beat"][name] for name in FEATURES]))


@cache
def phase_weights() -> Floats:
    """Return the weights of `phase_features`."""
    return unchanging(np.array([_weights()["phase"][name] for name in PHASE_FEATURES]))


@cache
def _weights() -> dict[str, dict[str, float]]:
    text = files("arranger.grid.track").joinpath("weights.json").read_text(encoding="utf-8")
    found: dict[str, dict[str, float]] = json.loads(text)
    return found
