"""The steps of beat tracking against looking at each attack, beat and place by itself."""

from __future__ import annotations

import math
from dataclasses import replace
from random import Random
from statistics import median
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.grid.attacks import find_attacks
from arranger.grid.track.evidence import COLUMNS, AttackEvidence, find_evidence
from arranger.grid.track.phase import phase_features
from arranger.grid.track.smooth import kept_division, smooth_beats
from arranger.song.time import timed_columns
from tests.grid.songs import TICKS, song_of

if TYPE_CHECKING:
    from arranger.song.model import Song

# What speaks for a beat

SECOND = TICKS * 108 / 60
"""Ticks in a second of the songs here: a tempo at which no onset lies on the edge of a window."""


def some_song(random: Random) -> Song:
    """Return two parts and drums; nothing starts nearly together, so that every onset is an attack."""
    parts = []
    for low in (40, 60, 36):
        at, part = random.choice((0, 1)) * 1.0, []
        for _ in range(random.randrange(8, 40)):
            length = random.choice((0.02, 0.5, 1.5, 3, 5))
            pitch = random.choice((35, 36, 38)) if low == 36 else low + random.randrange(20)
            part.append((at, length, pitch))
            at += random.choice((0.125, 0.25, 0.5, 0.5, 1, 3))
        parts.append(part)
    song = song_of(*parts, bpm=108, drums=frozenset({2}))
    loud = [note._replace(loudness=random.choice((0.2, 0.6, 0.9))) for note in song.notes]
    return replace(song, notes=tuple(loud))


def evidence_by_loops(song: Song) -> list[list[float]]:
    """Return the rows of `evidence.COLUMNS` before they are made to sum up to 1."""
    second = SECOND
    ticks = sorted({note.onset for note in song.notes})
    there = [[note for note in song.notes if note.onset == tick] for tick in ticks]
    tones = [[note for note in notes if not note.drum] for notes in there]
    loud = [sum(note.loudness**2 for note in notes) for notes in there]
    lowest = [min([127, *(note.pitch for note in notes)]) for notes in tones]
    many = len(ticks)

    def around(values: list[float], at: int) -> list[float]:
        return [values[min(max(n, 0), many - 1)] for n in range(at - 16, at + 17)]

    below = [min(max((median(around(lowest, n)) - lowest[n]) / 12, 0), 2.0) for n in range(many)]
    bass, before = [0.0] * many, -1
    for n in range(many):
        if below[n] > 0.25:
            bass[n] = 1.0 if lowest[n] % 12 != before else 0.3
            before = lowest[n] % 12
    gaps = [
        (b - a) / second for a, b in zip(ticks, [*ticks[1:], ticks[-1] + second / 2], strict=True)
    ]
    return [
        [float(len(notes)) for notes in there],
        [loud[n] / (sum(around(loud, n)) / 33) for n in range(many)],
        below,
        [max([0.0, *(min(n.duration / second, 2.0) for n in notes)]) for notes in tones],
        [min(gap, 1.0) for gap in gaps],
        [novelty(song, tick / second) for tick in ticks],
        bass,
        [
            sum((1.0 if n.pitch in (35, 36) else 0.3) * n.loudness for n in notes if n.drum)
            for notes in there
        ],
    ]


def novelty(song: Song, at: float) -> float:
    """Return how unlike the pitch classes are before and after, by 0.4 and by 0.8 seconds."""
    second = SECOND
    total = 0.0
    for width in (0.4, 0.8):
        sums = []
        for begin in (at - 0.05 - width, at - 0.05):
            end = at - 0.05 if begin < at - 0.05 else at - 0.05 + width
            classes = [0.0] * 12
            for note in song.notes:
                if not note.drum and begin <= note.onset / second < end:
                    classes[note.pitch % 12] += min(max(note.duration / second, 0.05), 1.0)
            sums.append(classes)
        one, other = sums
        size = math.hypot(*one) * math.hypot(*other)
        total += 1 - (sum(a * b for a, b in zip(one, other, strict=True)) / size if size else 0)
    return total


def test_evidence_is_what_each_attack_shows_by_itself() -> None:
    random = Random(1)
    for _ in range(25):
        song = some_song(random)
        notes = timed_columns(song)
        found = find_evidence(notes, find_attacks(notes))
        wanted = evidence_by_loops(song)
        for name, given, row in zip(COLUMNS, found.columns, wanted, strict=True):
            whole = sum(row) or 1.0
            assert given == pytest.approx([value / whole for value in row], abs=1e-6), name
        counts = (0.5, 0.5, 1.0, 1.0, 0.5, 0.7, 1.0, 0.5)
        many = len(wanted[0])
        strength = [
            sum(
                count * min(row[n] / (sum(row) or 1.0) * many, 4.0)
                for count, row in zip(counts, wanted, strict=True)
            )
            for n in range(many)
        ]
        mean = sum(strength) / many
        assert found.strength == pytest.approx([value / mean for value in strength], rel=1e-4)


# Smoothing


def kept_by_loops(beats: list[float], weight: list[float]) -> tuple[int, float]:
    found = {}
    for division in (4, 3, 2, 6):
        turns = [2 * math.pi * division * beat for beat in beats]
        x = sum(w * math.cos(t) for w, t in zip(weight, turns, strict=True))
        y = sum(w * math.sin(t) for w, t in zip(weight, turns, strict=True))
        found[division] = math.hypot(x, y) / sum(weight)
    best = max(found, key=lambda d: found[d] + (0.05 if d == 4 else 0))
    return best, found[best]


def smoothed_by_solving(
    times: np.ndarray, seconds: np.ndarray, strength: np.ndarray, stiffness: float
) -> np.ndarray:
    """Return what minimises the sum of squares at the head of `smooth`, by a solver of its own."""
    count = len(times)
    for _ in range(4):
        at = np.interp(seconds, times, np.arange(count))
        division, _ = kept_by_loops(at.tolist(), strength.tolist())
        rows, wanted = [], []
        for place, second, strong in zip(at, seconds, strength, strict=True):
            target = round(place * division) / division
            weight = strong * math.exp(-0.5 * ((place - target) * division / 0.25) ** 2)
            left = min(max(math.floor(target), 0), count - 2)
            row = np.zeros(count)
            row[left], row[left + 1] = 1 - (target - left), target - left
            rows.append(math.sqrt(weight) * row)
            wanted.append(math.sqrt(weight) * second)
        for n in range(1, count - 1):
            row = np.zeros(count)
            row[n - 1 : n + 2] = (1, -2, 1)
            rows.append(math.sqrt(stiffness) * row)
            wanted.append(0.0)
        times = np.linalg.lstsq(np.array(rows), np.array(wanted), rcond=None)[0]
    return times


@pytest.mark.parametrize("count", [4, 5, 12])
@pytest.mark.parametrize("stiffness", [1.0, 30.0])
def test_smoothed_beats_minimise_what_they_are_said_to(count: int, stiffness: float) -> None:
    random = Random(count)
    for _ in range(5):
        beat = 0.6
        times = np.array([1 + beat * n + random.gauss(0, 0.03) for n in range(count)])
        parts = random.choice((2, 3, 4))
        seconds = np.sort(
            [1 + beat * n / parts + random.gauss(0, 0.03) for n in range(parts * (count - 1) + 1)]
        )
        strength = np.array([random.uniform(0.2, 2) for _ in seconds])
        found = smooth_beats(times, seconds, strength, stiffness)
        assert found == pytest.approx(
            smoothed_by_solving(times, seconds, strength, stiffness), abs=1e-4
        )
    assert smooth_beats(times[:3], seconds, strength, stiffness) is not None
    assert smooth_beats(times[:3], seconds, strength, stiffness).tolist() == times[:3].tolist()


def test_the_division_that_is_kept_is_that_of_the_longest_mean_vector() -> None:
    random = Random(6)
    kinds = set()
    for _ in range(60):
        parts = random.choice((1, 2, 3, 4, 6))
        beats = [random.randrange(40) / parts + random.gauss(0, 0.03) for _ in range(30)]
        weight = [random.uniform(0.1, 1) for _ in beats]
        found = kept_division(np.array(beats), np.array(weight))
        division, strength = kept_by_loops(beats, weight)
        assert found == (division, pytest.approx(strength))
        kinds.add(division)
    assert {2, 3, 4} <= kinds


# The phase of a known beat


def some_evidence(random: Random) -> AttackEvidence:
    seconds = np.cumsum([random.choice((0.1, 0.2, 0.3, 0.3, 0.6)) for _ in range(60)])
    columns = np.array([[random.random() ** 3 for _ in seconds] for _ in COLUMNS])
    return AttackEvidence(seconds=seconds, columns=columns / columns.sum(axis=1, keepdims=True))


def density(at: np.ndarray, row: np.ndarray, place: float, seconds: float) -> float:
    """Return a column's density at a place in every beat; 1: even.

    Attacks stand in bins of 1/24 beat, blurred by 30 ms but by 0.03 to 0.08 of a beat.
    """
    spread = min(max(0.03 / seconds, 0.03), 0.08)

    def bell(apart: np.ndarray) -> np.ndarray:
        apart = apart % 1
        return np.exp(-0.5 * (np.minimum(apart, 1 - apart) / spread) ** 2)

    whole = bell(np.arange(24) / 24).sum()
    stand = np.floor(at * 24 + 0.5) / 24
    return float(row @ bell(stand - place)) * 24 / whole


def test_what_speaks_for_a_place_in_the_beat_is_the_density_there_and_half_a_beat_on() -> None:
    random = Random(7)
    for beat in (0.45, 0.8):
        evidence = some_evidence(random)
        times = np.cumsum([beat * random.uniform(0.97, 1.03) for _ in range(40)]) - beat
        at = np.interp(evidence.seconds, times, np.arange(40))
        period = median(np.diff(times).tolist())
        for row, place in zip(phase_features(times, evidence), (0, 6, 8, 12, 16, 18), strict=True):
            wanted = [
                math.log(density(at, column, place / 24 + half, period) + 0.05)
                for half in (0, 0.5)
                for column in evidence.columns
            ]
            assert row == pytest.approx(wanted, abs=1e-6)
