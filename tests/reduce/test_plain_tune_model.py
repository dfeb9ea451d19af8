"""The tune model's arithmetic against plain loops over single notes and units."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random

import numpy as np
import pytest

from arranger.reduce.worth import tune_model
from arranger.reduce.worth.tune_model import tune_likelihood, voicing

REACH, CHUNK, WARM_UP, UNITS = 12, 128, 96, 48

Vector = list[float]
NET = {name: values.tolist() for name, values in tune_model._network().items()}


@dataclass
class Plain:
    onset: float
    length: float
    pitch: float
    loud: float


def layer(name: str, given: Vector, way: int | None = None) -> Vector:
    """Return the inputs times the weights of that name, plus their bias."""
    weights, bias = NET[name], NET[f"{name}_bias"]
    if way is not None:
        weights, bias = weights[way], bias[way]
    return [
        b + sum(g * row[k] for g, row in zip(given, weights, strict=True))
        for k, b in enumerate(bias)
    ]


def positive(values: Vector) -> Vector:
    return [max(value, 0.0) for value in values]


def mean(values: Vector, weights: Vector | None = None) -> float:
    weights = weights or [1.0] * len(values)
    return sum(v * w for v, w in zip(values, weights, strict=True)) / sum(weights)


def in_song(note: Plain, notes: list[Plain]) -> Vector:
    weights = [math.sqrt(min(n.length, 2.0)) for n in notes]
    middle = mean([n.pitch for n in notes], weights)
    spread = math.sqrt(max(mean([(n.pitch - middle) ** 2 for n in notes], weights), 1.0))
    loud = mean([n.loud for n in notes])
    deviation = math.sqrt(mean([(n.loud - loud) ** 2 for n in notes]))
    height, louder = note.pitch - middle, note.loud - loud
    return [
        math.log(note.length), math.tanh(height / 6), math.tanh(height / 20),
        math.tanh(height / spread / 2), 4 * louder, math.tanh(louder / (deviation + 0.02) / 2),
        5 * deviation,
    ]  # fmt: skip


def distance(note: Plain, other: Plain) -> Vector:
    start = other.onset - note.onset
    stop, interval = start + other.length, other.pitch - note.pitch
    times = [
        start / 0.05, start / 0.3, start / 1.5, stop / 0.1, stop / 0.6, (start - note.length) / 0.1,
        (start - note.length) / 0.6, (stop - note.length) / 0.3, interval / 1.5, interval / 5,
        interval / 14, math.log(other.length / note.length) / 1.5,
    ]  # fmt: skip
    octave = 1.0 if interval % 12 == 0 else 0.0
    return [*map(math.tanh, times), octave, 4 * (other.loud - note.loud)]


def around(notes: list[Plain]) -> list[Vector]:
    own = [in_song(note, notes) for note in notes]
    values = [positive(layer("value", each)) for each in own]
    found = []
    for place, note in enumerate(notes):
        near = range(max(place - REACH, 0), min(place + REACH + 1, len(notes)))
        kernels = [
            layer("kernel", positive(layer("message", distance(note, notes[j])))) for j in near
        ]
        summed = [
            sum(values[j][v] * kernel[k] for j, kernel in zip(near, kernels, strict=True))
            for v in range(len(values[0]))
            for k in range(len(kernels[0]))
        ]
        total = [sum(column) for column in zip(*kernels, strict=True)]
        found.append(positive(layer("around", summed + total + own[place])))
    return found


def sigmoid(value: float) -> float:
    return 1 / (1 + math.exp(-value))


def read(seen: list[Vector], number: int, way: int) -> list[Vector]:
    """Return the state after each note; before each chunk the notes before it are read afresh."""
    found = []
    nothing = [0.0] * len(seen[0])
    for first in range(0, len(seen), CHUNK):
        state = [0.0] * UNITS
        for place in range(first - WARM_UP, min(first + CHUNK, len(seen))):
            ask = layer(f"read{number}", seen[place] if place >= 0 else nothing, way)
            kept = layer(f"keep{number}", state, way)
            reset, update = (
                [sigmoid(a + b) for a, b in zip(ask[at], kept[at], strict=True)]
                for at in (slice(UNITS), slice(UNITS, 2 * UNITS))
            )
            new = [
                math.tanh(a + r * b)
                for a, r, b in zip(ask[2 * UNITS :], reset, kept[2 * UNITS :], strict=True)
            ]
            state = [u * s + (1 - u) * n for u, s, n in zip(update, state, new, strict=True)]
            if place >= first:
                found.append(state)
    return found


def both_ways(seen: list[Vector], number: int) -> list[Vector]:
    there, back = read(seen, number, 0), read(seen[::-1], number, 1)[::-1]
    return [[*a, *b] for a, b in zip(there, back, strict=True)]


def likelihoods(notes: list[Plain]) -> Vector:
    near = around(notes)
    line = both_ways(near, 1)
    song = [
        math.tanh(v)
        for v in layer("song", [mean(list(column)) for column in zip(*line, strict=True)])
    ]
    line = both_ways([[a + b for a, b in zip(each, song, strict=True)] for each in line], 2)
    found = []
    for each, heard in zip(line, near, strict=True):
        both = [a + b for a, b in zip(each, layer("skip", heard), strict=True)]
        (odds,) = layer("odds", positive(both))
        found.append(sigmoid(odds))
    return found


def some_notes(random: Random, many: int) -> list[Plain]:
    found = []
    at = 0.0
    for _ in range(many):
        length = random.choice((0.02, 0.1, 0.3, 0.5, 1.0, 2.5, 9.0)) * random.uniform(1.0, 1.1)
        found.append(Plain(at, length, random.randrange(36, 84), random.uniform(0.1, 1.0)))
        at += random.choice((0.0, 0.0, 0.02, 0.2, 0.5, 0.5, 1.5, 11.0)) * random.uniform(0.9, 1.1)
    return sorted(found, key=lambda n: (n.onset, n.pitch))


@pytest.mark.parametrize("many", [1, 40])
def test_likelihoods_are_what_plain_loops_find(many: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tune_model, "BLOCK", 17)
    monkeypatch.setattr(tune_model, "ROUNDED", 2.0**16)
    notes = some_notes(Random(many), many)
    onset = np.array([n.onset for n in notes])
    end = onset + np.array([n.length for n in notes])
    pitch = np.array([int(n.pitch) for n in notes])
    found = tune_likelihood(voicing(onset, end, pitch, np.array([n.loud for n in notes])))
    assert found == pytest.approx(likelihoods(notes), abs=1e-4)
