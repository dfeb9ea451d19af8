"""Songs to measure beat tracking with: a folder of played-in files, and scores played by the model.

A folder holds ``NNN.mid`` beside ``NNN.beats.txt`` (seconds of a beat, beat flag, downbeat flag, a
line a beat), as in POP909 (Wang et al., ISMIR 2020). Scores come from the corpus of music21.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from music21 import chord, corpus, harmony

from arranger.song import read_song
from arranger.song.model import MetreChange, TempoChange
from arranger.song.time import seconds_at
from tests.benchmarks.human import play
from tests.benchmarks.scores import sampled

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from arranger.song.model import Song

BLIND_MICROSECONDS = 500_000


class Case(NamedTuple):
    """A song and its true beats."""

    name: str
    song: Song
    beats: NDArray[np.float64]
    """Seconds."""
    downbeats: NDArray[np.bool_]
    """Which of the beats begin a bar."""
    score_beats: NDArray[np.float64] | None = None
    """For a played score: where each note stands in it, in beats."""


def blinded(song: Song) -> Song:
    """Return the song with its notes at the same seconds, but without its tempo and metre maps."""
    ticks = song.ticks_per_beat * 1e6 / BLIND_MICROSECONDS
    onsets = np.rint(seconds_at(song, [n.onset for n in song.notes]) * ticks).astype(int).tolist()
    ends = np.rint(seconds_at(song, [n.onset + n.duration for n in song.notes]) * ticks)
    notes = tuple(
        note._replace(onset=onset, duration=end - onset)
        for note, onset, end in zip(song.notes, onsets, ends.astype(int).tolist(), strict=True)
    )
    return replace(
        song,
        notes=notes,
        tempos=(TempoChange(0, BLIND_MICROSECONDS),),
        metres=(MetreChange(0, 4, 4),),
        metre_said=False,
    )


def folder_cases(folder: Path, *, blind: bool) -> Iterator[Case]:
    """Yield the songs of a folder; ``blind`` takes away what the file says of tempo and metre."""
    for path in sorted(folder.glob("*.mid")):
        rows = np.loadtxt(path.with_suffix(".beats.txt"))
        song = read_song(path)
        yield Case(path.stem, blinded(song) if blind else song, rows[:, 0], rows[:, 2] > 0)


class Score(NamedTuple):
    """A score as numbers: parts of (onset, length) in quarter notes and pitch."""

    name: str
    parts: list[list[tuple[float, float, int]]]
    metre: tuple[int, int]
    pickup: float
    """Quarter notes before the first bar line."""

    @property
    def beat(self) -> float:
        """The beat of the metre in quarter notes: a dotted one in compound metre."""
        numerator, denominator = self.metre
        compound = denominator >= 8 and numerator % 3 == 0
        return (3 if compound else 1) * 4.0 / denominator


def scores(count: int, seed: int, fewest: int = 40, most: int = 6000) -> Iterator[Score]:
    """Yield the scores of the files `sampled` that are neither too short nor too long."""
    for path in sampled(count, seed):
        score = _score(path)
        if score is not None and fewest <= sum(map(len, score.parts)) <= most:
            yield score


def _score(path: str) -> Score | None:
    parsed = corpus.parse(path)
    if "Opus" in parsed.classes:
        parsed = parsed.scores[0]
    parsed = parsed.stripTies()
    parts = []
    for part in parsed.parts:
        rows = [
            (float(element.offset), float(element.quarterLength), int(pitch.midi))
            for element in part.flatten().notes
            if not element.duration.isGrace
            and not (isinstance(element, chord.Chord) and isinstance(element, harmony.Harmony))
            for pitch in element.pitches
        ]
        if rows:
            parts.append(rows)
    metres = list(parsed.recurse().getElementsByClass("TimeSignature"))
    if not parts or not metres:
        return None
    measure = parsed.parts[0].getElementsByClass("Measure").first()
    missing = 0.0 if measure is None else float(measure.paddingLeft)
    length = 4.0 * metres[0].numerator / metres[0].denominator
    pickup = length - missing if missing else 0.0
    return Score(
        path.rsplit("/corpus/", 1)[-1], parts, (metres[0].numerator, metres[0].denominator), pickup
    )


def played_case(score: Score, seed: int, *, jitter_seconds: float, drift: float) -> Case:
    """Return a score as the model plays it, at a random usual tempo of its beat.

    One in four that has no pickup is played with drums.
    """
    rng = np.random.default_rng(seed)
    bpm = float(np.clip(np.exp(rng.normal(np.log(84.0), 0.28)), 48.0, 150.0))
    played = play(
        score.parts,
        seed,
        bpm=bpm * score.beat,
        jitter_seconds=jitter_seconds,
        drift=drift,
        metre=score.metre,
        drum_beat=score.beat if seed % 4 == 3 and not score.pickup else None,
    )
    quarters = np.arange(len(played.quarter_seconds))
    first = score.pickup % score.beat
    at = np.arange(first, quarters[-1] + 1e-9, score.beat)
    bar = 4.0 * score.metre[0] / score.metre[1]
    into_bar = (at - score.pickup) / bar
    return Case(
        score.name,
        played.song,
        np.interp(at, quarters, played.quarter_seconds),
        np.abs(into_bar - np.rint(into_bar)) < 1e-6,
        played.score_beats / score.beat,
    )
