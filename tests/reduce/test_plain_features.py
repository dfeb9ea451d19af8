"""The tune model's features against plain loops that go by what they are called and said to measure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random

import numpy as np
import pytest

from arranger.reduce.worth.tune_features import near_features, neighbours, voicing, wide_features

REACH, TOGETHER = 14, 0.035


@dataclass
class Plain:
    """A note, and the others relative to it."""

    onset: float
    length: float
    pitch: float
    loud: float
    likely: float

    def starts(self, other: Plain) -> float:
        return other.onset - self.onset

    def stops(self, other: Plain) -> float:
        return self.starts(other) + other.length

    def shared(self, other: Plain) -> float:
        """Return the seconds in which both sound; below 0 they are so far apart."""
        return min(self.stops(other), self.length) - max(self.starts(other), 0.0)


def mean(values: list[float], weights: list[float] | None = None) -> float:
    weights = weights or [1.0] * len(values)
    return sum(v * w for v, w in zip(values, weights, strict=True)) / sum(weights)


def deviation(values: list[float], weights: list[float] | None = None) -> float:
    middle = mean(values, weights)
    return math.sqrt(max(mean([(v - middle) ** 2 for v in values], weights), 0.0))


def near_by_loops(notes: list[Plain], place: int) -> dict[str, float]:
    note = notes[place]
    around = [*notes[max(place - REACH, 0) : place], *notes[place + 1 : place + 1 + REACH]]
    weights = [math.sqrt(min(n.length, 2.0)) for n in notes]
    pitches, louds = [n.pitch for n in notes], [n.loud for n in notes]
    height = note.pitch - mean(pitches, weights)
    lasts = notes[-1].onset - notes[0].onset + 1.0
    found = {
        "log_length": math.log(note.length),
        "pitch_song": height,
        "pitch_song_z": height / max(deviation(pitches, weights), 1.0),
        "loud_song": note.loud - mean(louds),
        "loud_song_z": (note.loud - mean(louds)) / max(deviation(louds), 0.02),
        "song_sounding": sum(n.length for n in notes) / lasts,
        "song_density": len(notes) / lasts,
        "song_loud_spread": deviation(louds),
    }
    for half in (0.6, 2, 8, 24):
        there = [n for n in notes if abs(n.onset - note.onset) <= half]
        weights = [math.sqrt(min(n.length, 2.0)) for n in there]
        pitches = [n.pitch for n in there]
        height = note.pitch - mean(pitches, weights)
        found |= {
            f"pitch_{half}s": height,
            f"pitch_z_{half}s": height / max(deviation(pitches, weights), 1.0),
            f"loud_{half}s": note.loud - mean([n.loud for n in there]),
            f"length_{half}s": math.log(note.length) - mean([math.log(n.length) for n in there]),
        }
    return found | in_chord(note, around) | in_line(note, around)


def in_chord(note: Plain, around: list[Plain]) -> dict[str, float]:
    sounding = [n for n in around if note.starts(n) <= TOGETHER < note.stops(n)]
    intervals = [n.pitch - note.pitch for n in sounding]
    struck = [n for n in around if abs(note.starts(n)) <= TOGETHER]
    two = [n for n in around if abs(note.starts(n)) < 2]
    above = [max(note.shared(n), 0) / note.length for n in around if n.pitch > note.pitch]
    below = [max(note.shared(n), 0) / note.length for n in around if n.pitch < note.pitch]
    return {
        "gap_above": min([30, *(i for i in intervals if i > 0)]),
        "gap_below": min([30, *(-i for i in intervals if i < 0)]),
        "gap_top": max([0, *intervals]),
        "gap_bottom": -min([0, *intervals]),
        "loud_sounding": note.loud - max([n.loud for n in sounding], default=note.loud - 1),
        "together": len(struck),
        "together_above": sum(n.pitch > note.pitch for n in struck),
        "shared_above": sum(above),
        "shared_above_most": max(above, default=0),
        "shared_below": sum(below),
        "same_band_2s": sum(abs(n.pitch - note.pitch) <= 5 for n in two) / max(len(two), 1),
    }


def in_line(note: Plain, around: list[Plain]) -> dict[str, float]:
    starts = [note.starts(n) for n in around]
    found: dict[str, float] = {
        "since_onset": min([4.0, *(-s for s in starts if s < -TOGETHER)]),
        "until_onset": min([4.0, *(s for s in starts if s > TOGETHER)]),
    }
    for name in ("next", "last"):
        ways = []
        for other in around:
            first, second = (note, other) if name == "next" else (other, note)
            ahead = first.starts(second)
            if ahead > TOGETHER and 0.6 * first.length < ahead < 8:
                gap = ahead - first.length
                effort = abs(other.pitch - note.pitch) / 3 + abs(gap) / 0.3
                effort += 2 * max(-gap, 0) / first.length
                longer = math.log(other.length / note.length)
                ways.append((effort, other.pitch - note.pitch, gap, longer))
        best = min(ways, key=lambda way: way[0], default=(20, 0, 3, 0))
        if best[0] >= 20:
            best = (20, 0, 3, 0)
        names = ("effort", "interval", "gap", "longer")
        found |= {f"{name}_{what}": value for what, value in zip(names, best, strict=True)}
    return found


def wide_by_loops(notes: list[Plain], place: int) -> dict[str, float]:
    note = notes[place]
    around = [*notes[max(place - REACH, 0) : place], *notes[place + 1 : place + 1 + REACH]]
    found = {"likely": note.likely}
    for half in (1, 4, 12, 40):
        there = [n for n in notes if abs(n.onset - note.onset) <= half]
        # The note itself hardly has a say.
        own = [0.001 if n is note else 1.0 for n in there]
        weight = [
            o * (n.likely**2 * math.sqrt(min(n.length, 1.5)) + 1e-6)
            for o, n in zip(own, there, strict=True)
        ]
        # Where nothing is likely the song's mean takes over.
        total = max(sum(weight), 1e-6)
        lacking = [*weight, total - sum(weight)]
        pitches = [*(n.pitch for n in there), mean([n.pitch for n in notes])]
        height = note.pitch - mean(pitches, lacking)
        roots = sum(o * math.sqrt(n.length) for o, n in zip(own, there, strict=True))
        found |= {
            f"tune_pitch_{half}s": height,
            f"tune_pitch_z_{half}s": abs(height) / max(deviation(pitches, lacking), 2.0),
            f"tune_loud_{half}s": note.loud - mean([*(n.loud for n in there), 0], lacking),
            f"tune_length_{half}s": math.log(note.length)
            - mean([*(math.log(n.length) for n in there), 0], lacking),
            f"tune_share_{half}s": total / roots,
        }
    clashing = [n for n in around if note.shared(n) > 0.3 * min(n.length, note.length)]
    rival = max(clashing, key=lambda n: n.likely, default=None)
    found |= {
        "rival": rival.likely if rival else 0.0,
        "rival_interval": rival.pitch - note.pitch if rival else 0.0,
        "rival_above": max([n.likely for n in clashing if n.pitch > note.pitch], default=0.0),
        "rival_below": max([n.likely for n in clashing if n.pitch < note.pitch], default=0.0),
    }
    for name in ("next", "last"):
        ready = []
        for other in around:
            first, second = (note, other) if name == "next" else (other, note)
            ahead = first.starts(second)
            if ahead > TOGETHER and ahead > 0.6 * first.length:
                fades = math.exp(-abs(ahead - first.length) / 0.6)
                ready.append((other.likely * fades, other.pitch - note.pitch))
        best = max(ready, key=lambda way: way[0], default=(0.0, 0.0))
        found |= {
            f"likely_{name}": best[0],
            f"likely_{name}_interval": best[1],
            f"likely_{name}_near": max(
                [value * math.exp(-abs(interval) / 8) for value, interval in ready], default=0.0
            ),
        }
    return found


def some_notes(random: Random) -> list[Plain]:
    """Return notes whose times, pitches and likelihoods leave no ties."""
    found = []
    at = 0.0
    for _ in range(random.randrange(1, 45)):
        length = random.choice((0.02, 0.1, 0.3, 0.5, 1.0, 2.5, 9.0)) * random.uniform(0.9, 1.1)
        found.append(
            Plain(
                at,
                max(length, 0.02),
                random.randrange(36, 84),
                random.uniform(0.1, 1.0),
                random.uniform(0.02, 0.98),
            )
        )
        at += random.choice((0.0, 0.0, 0.02, 0.2, 0.5, 0.5, 1.5, 11.0)) * random.uniform(0.9, 1.1)
    return sorted(found, key=lambda n: (n.onset, n.pitch))


def test_features_are_what_plain_loops_find() -> None:
    random = Random(5)
    for _ in range(25):
        notes = some_notes(random)
        onset = np.array([n.onset for n in notes])
        end = onset + np.array([n.length for n in notes])
        pitch = np.array([int(n.pitch) for n in notes])
        voiced = voicing(onset, end, pitch, np.array([n.loud for n in notes]))
        likely = np.array([n.likely for n in notes], np.float32)
        beside = neighbours(voiced)
        for given, by_loops in (
            (near_features(voiced, beside), near_by_loops),
            (wide_features(voiced, beside, likely), wide_by_loops),
        ):
            wanted = [by_loops(notes, place) for place in range(len(notes))]
            assert set(given) == set(wanted[0])
            for name, values in given.items():
                expected = [each[name] for each in wanted]
                assert values == pytest.approx(expected, rel=2e-3, abs=5e-3), name
