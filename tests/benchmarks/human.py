"""A seeded model of a person playing a score, to know exactly what beat tracking should find.

Common practice for such models, parameters ours:

- the tempo drifts: a smooth random curve, at most ``drift`` off the nominal tempo either way
- a ritardando down to 70 % over the last two bars' worth of beats
- every note is off by a normal deviate of ``jitter_seconds``; one chord in six is rolled upwards,
  20 ms a note; notes last 80 % to 100 % of their written length, and differ in loudness
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from arranger.song.model import MetreChange, Note, Part, Song, TempoChange, Track

if TYPE_CHECKING:
    from numpy.typing import NDArray

TICKS = 480
DRIFT_BEATS = 12.0
RITARDANDO_BEATS = 8.0
RITARDANDO = 0.7


@dataclass(frozen=True, slots=True, eq=False)
class Performance:
    """A song as played, and the truth about it."""

    song: Song
    score_beats: NDArray[np.float64]
    """Shape (notes,): where each note of the song stands in the score, in quarter notes."""
    quarter_seconds: NDArray[np.float64]
    """Seconds of each quarter note of the score."""


def play(
    parts: list[list[tuple[float, float, int]]],
    seed: int,
    *,
    bpm: float = 96.0,
    jitter_seconds: float = 0.020,
    drift: float = 0.03,
    metre: tuple[int, int] = (4, 4),
    file_bpm: float = 120.0,
    drum_beat: float | None = None,
) -> Performance:
    """Return a performance of a score; ``parts`` hold (onset, length) in quarters, and a pitch.

    With ``drum_beat``, a length in quarters, a drummer plays along: bass drum and snare in turn on
    such beats, a hi-hat on their halves.

    The ticks of the song count time at a constant ``file_bpm``, which the performance ignores.
    """
    rng = np.random.default_rng(seed)
    end = max(onset + length for part in parts for onset, length, _ in part)
    if drum_beat is not None:
        parts = [*parts, _drum_part(end, drum_beat)]
    drums = len(parts) - 1 if drum_beat is not None else -1
    fine = np.arange(0.0, end + 4.0, 1 / 16)
    tempo = 1.0 + drift * _smooth_noise(rng, len(fine), DRIFT_BEATS * 16)
    slow = np.clip((fine - (end - RITARDANDO_BEATS)) / RITARDANDO_BEATS, 0.0, 1.0)
    tempo *= 1.0 - (1.0 - RITARDANDO) * slow
    per_quarter = 60.0 / (bpm * tempo)
    times = np.concatenate(([0.0], np.cumsum(per_quarter[:-1] / 16))) + 0.5 + rng.uniform(0, 2)

    rows = []
    for index, part in enumerate(parts):
        onsets = sorted({onset for onset, _, _ in part})
        rolled = {onset for onset in onsets if rng.random() < 1 / 6}
        heights: dict[float, list[int]] = {}
        for onset, _, pitch in part:
            heights.setdefault(onset, []).append(pitch)
        for onset, length, pitch in part:
            rank = sorted(heights[onset]).index(pitch) if onset in rolled else 0
            start = np.interp(onset, fine, times) + 0.02 * rank + rng.normal(0.0, jitter_seconds)
            stop = np.interp(onset + length * rng.uniform(0.8, 1.0), fine, times)
            loudness = int(np.clip(rng.normal(72, 10), 20, 127))
            rows.append((max(start, 0.0), max(stop, start + 0.03), index, pitch, loudness, onset))
    rows.sort()
    per_second = TICKS * file_bpm / 60.0
    notes = tuple(
        Note(
            number,
            part,
            part,
            part,
            round(start * per_second),
            round((stop - start) * per_second),
            pitch,
            loudness,
            loudness / 127,
            part == drums,
        )
        for number, (start, stop, part, pitch, loudness, _) in enumerate(rows)
    )
    song = Song(
        title="performance",
        file="performance.mid",
        sha256="0" * 64,
        kind="midi",
        midi_format=1,
        ticks_per_beat=TICKS,
        own_beat=True,
        notes=notes,
        parts=tuple(
            Part(i, i, i, 0, f"part {i + 1}", i == drums, 64, len(part))
            for i, part in enumerate(parts)
        ),
        tracks=tuple(Track(i, f"part {i + 1}", len(part)) for i, part in enumerate(parts)),
        tempos=(TempoChange(0, round(60e6 / file_bpm)),),
        metres=(MetreChange(0, *metre),),
    )
    quarters = np.arange(0.0, np.floor(end) + 1.0)
    return Performance(song, np.array([row[5] for row in rows]), np.interp(quarters, fine, times))


def _drum_part(end: float, beat: float) -> list[tuple[float, float, int]]:
    beats = range(int(end / beat))
    strokes = [(number * beat, beat / 4, (36, 38)[number % 2]) for number in beats]
    return strokes + [(number * beat / 2, beat / 4, 42) for number in range(2 * len(beats))]


def _smooth_noise(rng: np.random.Generator, count: int, width: float) -> NDArray[np.float64]:
    """Return a smooth random curve whose largest value either way is 1."""
    reach = int(3 * width)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / (width / 2)) ** 2)
    noise = np.convolve(rng.normal(size=count + 2 * reach), kernel, mode="valid")
    noise = noise - noise.mean()
    result: NDArray[np.float64] = noise / np.abs(noise).max()
    return result
