"""Finding the beat of a song from its onsets.

    attacks ─▶ odds of beats and bars (a network) ─▶ best beats, by tempo ─┐
    the file's own tempo, if the notes keep it ────────────────────────────┴▶ readings ─▶ beat and bars

Knowledge from outside the onsets enters as a prior in log odds:

- `FILE_BEAT`: the notes keep the file's tempo, only not its beats: a recording whose tempo is known
  but not where it starts. Then the file's beat, moved, is very likely the beat.
- `FILE_TEMPO`: the period is near a tempo that the file states, though the notes don't keep it.
- A tempo or a first beat given by the user leaves only the readings that suit it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import median
from arranger.grid.track.evidence import find_evidence
from arranger.grid.track.feature_weights import weights_of
from arranger.grid.track.networks.beat_frames import FRAMES_A_SECOND
from arranger.grid.track.networks.beats_heard import hear_song
from arranger.grid.track.phase import BINS, PLACES
from arranger.grid.track.readings import FEATURES, FEWEST_BEATS, reading_of, readings_of
from arranger.grid.track.rivals import NEAR_TEMPO, rivals, tempo_gap
from arranger.grid.track.smooth import smooth_beats
from arranger.grid.track.sureness import sureness

if TYPE_CHECKING:
    from arranger.columns import Floats
    from arranger.grid.attacks import Attacks
    from arranger.grid.track.evidence import AttackEvidence
    from arranger.grid.track.networks.beats_heard import HeardSong
    from arranger.grid.track.readings import Reading
    from arranger.grid.track.rivals import Rival
    from arranger.settings import GridSettings
    from arranger.song.notes import TimedColumns

FEWEST_ATTACKS = 8
SHORTEST_SONG_SECONDS = 2.0
BEAT_SECONDS = (0.26, 1.75)
"""Shortest and longest period that is taken for a beat unasked: 231 to 34 a minute."""
STIFFNESSES, LOST = (30.0, 1.0, 0.1), 0.04
"""How stiffly the beat is smoothed: as much as loses no more than such a share of the odds."""
LEAST_SECONDS = 0.1
"""A beat that stands still at an end of the song goes on with this period."""
FILE_BEAT = 8.0
FILE_TEMPO = 1.0
QUICKER, SLOWER = 1.25, 1.6
"""How far the tempo may leave one that the user gives."""
EARLY_BEATS = 0.12
"""A first onset this much before a beat belongs to it, in beats."""
NEAR_BEAT = 0.2
"""How far from the first beat that a user gives a beat may be, in beats."""
NEAR_END = 0.1
"""Seconds: beats beyond the first and last attack aren't asked how sure they are."""


class TrackedBeat(NamedTuple):
    """The beat of a song, as found."""

    seconds: Floats
    """Shape (beats,): from at or before the first onset to at or after the last end."""
    sure: float
    """0..1: how many of its beats are likely right; calibrated, see `arranger.grid.track.sureness`."""
    others: tuple[Rival, ...]
    """The likeliest other readings."""
    each_sure: Floats
    """Shape (beats,): how likely each beat is right."""
    heard: HeardSong

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
    span = float(evidence.seconds[-1] - evidence.seconds[0])
    if span < SHORTEST_SONG_SECONDS:
        return None
    heard = hear_song(notes, attacks, evidence)
    readings = all_readings(heard, span, file_beat, settings)
    if not readings:
        return None
    likelihood = likelihoods(readings, file_beat)
    best = int(likelihood.argmax())
    chosen = readings[best]
    last = float(notes.end_seconds.max())
    beats = _smoothed(_covering(chosen.beats, evidence.seconds[0], last), evidence, heard)
    beats = _covering(beats, evidence.seconds[0], last)
    share, others = rivals(readings, likelihood, best)
    sure = sureness(heard, beats, share)
    inside = (beats >= evidence.seconds[0] - NEAR_END) & (beats <= evidence.seconds[-1] + NEAR_END)
    mean = float(sure[inside].mean()) if inside.any() else float(sure.mean())
    # the others share what the beat's sureness leaves
    left = (1.0 - mean) / max(1.0 - share, 1e-9)
    others = tuple(other._replace(likelihood=other.likelihood * left) for other in others)
    return TrackedBeat(beats, mean, others, sure, heard)


def all_readings(
    heard: HeardSong, span: float, file_beat: FileBeat | None, settings: GridSettings
) -> list[Reading]:
    """Return every reading that is weighed; a tempo or beat given by the user leaves those that suit."""
    readings = (
        readings_of(heard, span, *BEAT_SECONDS, settings.first_beat)
        if settings.tempo is None
        else _at_tempo(heard, span, 60.0 / settings.tempo, settings.first_beat)
    )
    if file_beat is not None and file_beat.kept:
        own = _file_reading(heard, span, file_beat)
        asked = None if own is None or settings.tempo is None else 60.0 / settings.tempo
        if own is not None and (asked is None or tempo_gap(own.period, asked) < NEAR_TEMPO):
            readings.append(own)
    if settings.first_beat is not None:
        first = settings.first_beat
        near = [r for r in readings if np.abs(r.beats - first).min() < NEAR_BEAT * r.period]
        readings = near or readings
    return readings


def _at_tempo(
    heard: HeardSong, span: float, period: float, first_beat: float | None
) -> list[Reading]:
    """Return readings of about a period: such as may slow down and speed up, else such as may hardly."""
    found = readings_of(heard, span, period / QUICKER, period * SLOWER, first_beat)
    near = [reading for reading in found if tempo_gap(reading.period, period) < NEAR_TEMPO]
    if near and near[0].kind == "best":
        return near
    near_tempo = float(np.exp(NEAR_TEMPO))
    return readings_of(heard, span, period / near_tempo, period * near_tempo, first_beat)


def likelihoods(readings: list[Reading], file_beat: FileBeat | None) -> Floats:
    """Return how likely each reading is among all; they sum to 1."""
    weights = weights_of("reading", FEATURES)
    scores = np.array([weights @ reading.features for reading in readings])
    if file_beat is not None:
        period = float(median(np.diff(file_beat.seconds)))
        for index, reading in enumerate(readings):
            if file_beat.kept:
                scores[index] += FILE_BEAT * (reading.kind == "file")
            elif file_beat.stated:
                scores[index] += FILE_TEMPO * (tempo_gap(reading.period, period) < NEAR_TEMPO)
    likelihood = np.exp(scores - scores.max())
    result: Floats = likelihood / likelihood.sum()
    return result


def _file_reading(heard: HeardSong, span: float, file_beat: FileBeat) -> Reading | None:
    """Return the file's beat, moved to where between its beats most is heard."""
    count = len(file_beat.seconds)
    best: tuple[float, Floats] | None = None
    for place in PLACES:
        at = np.arange(count - 1) + place / BINS
        beats = np.interp(at, np.arange(count), file_beat.seconds)
        frames = heard.frames(beats)
        beats = beats[(frames >= 0) & (frames <= len(heard.odds) - 2 * FRAMES_A_SECOND)]
        gained = float(heard.beat_odds(beats).sum())
        if len(beats) >= FEWEST_BEATS and (best is None or gained > best[0]):
            best = gained, beats
    return None if best is None else reading_of("file", heard, best[1], best[0], span)


def _smoothed(beats: Floats, evidence: AttackEvidence, heard: HeardSong) -> Floats:
    """Return the beats as stiffly smoothed as keeps what they gain."""
    odds = heard.beat_odds(beats)
    least = float(odds.sum() - LOST * np.abs(odds).sum())
    for stiffness in STIFFNESSES:
        found = smooth_beats(beats, evidence.seconds, evidence.strength, stiffness)
        if float(heard.beat_odds(found).sum()) >= least:
            return found
    return beats


def _covering(beats: Floats, first: float, last: float) -> Floats:
    """Return beats from the last one at or before ``first`` to the first at or after ``last``."""
    head = max(float(median(np.diff(beats[:9]))), LEAST_SECONDS)
    tail = max(float(median(np.diff(beats[-9:]))), LEAST_SECONDS)
    before = int(np.ceil((beats[0] - first) / head - 0.25))  # below 0 none
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
