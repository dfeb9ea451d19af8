"""What reading events does to a held tone: noise off the harmonics against a player that needs no time.

    python -m tests.benchmarks.event_noise [--per-second N]

One voice holds a tone, the other moves N times a second (8). Of the pin's level, averaged over half a
pass, what lies within 25 Hz of a harmonic of either tone is left out between 40 Hz and 8 kHz, and
the rest compared with the whole, in dB; then with the same for voices that never wait. Goal: 0.3 dB
more at most.
"""

from __future__ import annotations

import argparse
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from arranger.engine import load_engine
from arranger.pitch import pitch_name
from arranger.rows import HOLD
from arranger.sound.signal import edges
from tests.sound.sheets import sheet_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Bools, Floats
    from arranger.engine.model import Engine

PASS_CYCLES = 118
UNIT = PASS_CYCLES // 2
STEPS = 64
MOVING = (52, 55, 59, 55)
WIDTH, LOW, HIGH = 25.0, 40.0, 8000.0


def settings(engine: Engine, row: Sequence[int]) -> list[int]:
    return [engine.pitches[pitch].setting for pitch in row]


def hertz(engine: Engine, pitch: int) -> float:
    setting = engine.pitches[pitch].setting
    passes = engine.clock_hz / PASS_CYCLES
    return passes * setting / 2**17 if engine.method == "phase" else passes / 2 / setting


def levels(engine: Engine, row: Sequence[int], passes: int) -> Floats:
    """Return the level of a voice in each pass when nothing is ever read."""
    of_pass = np.repeat(settings(engine, row), passes)
    if engine.method == "phase":
        return np.cumsum(of_pass) // 2**16 % 2
    found, level, left = np.zeros(len(of_pass)), 0, 1
    for place, setting in enumerate(of_pass.tolist()):
        left -= 1
        if left == 0:
            level, left = 1 - level, setting
        found[place] = level
    return found


def played(engine: Engine, rows: Sequence[Sequence[int]], setting: int) -> Floats:
    """Return the pin's level in units of half a pass."""
    first, second = ([row[0], *(p if p != q else HOLD for q, p in pairwise(row))] for row in rows)
    every = list(edges(sheet_of(engine, first, second, length=setting), engine))
    at = np.concatenate([cycles for cycles, _ in every])
    level = np.concatenate([pin for _, pin in every]).astype(np.float64)
    units = STEPS * setting * PASS_CYCLES // UNIT
    times = np.concatenate(([0], at, [max(units * UNIT, int(at[-1])) + 1]))
    summed = np.append(0.0, np.cumsum(np.append(0.0, level) * np.diff(times)))
    return np.diff(np.interp(np.arange(units + 1) * UNIT, times, summed)) / UNIT


def noise(sound: Floats, engine: Engine, pitches: Sequence[int]) -> float:
    """Return the share of the energy off the harmonics, in dB."""
    energy = np.abs(np.fft.rfft((sound - sound.mean()) * np.hanning(len(sound)))) ** 2
    frequency = np.fft.rfftfreq(len(sound), UNIT / engine.clock_hz)
    off: Bools = (frequency > LOW) & (frequency < HIGH)
    for tone in {hertz(engine, pitch) for pitch in pitches}:
        off &= np.abs(frequency - np.maximum(np.round(frequency / tone), 1) * tone) > WIDTH
    return float(10 * np.log10(energy[off].sum() / energy.sum()))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--per-second", type=float, default=8.0)
    given = parser.parse_args()
    moving = [MOVING[step % len(MOVING)] for step in range(STEPS)]
    for name in ("twin-phase", "twin-counter"):
        engine = load_engine(name)
        setting = engine.nearest_step_length(1 / given.per_second).setting
        for held in (45, 57, 69, 81, 93):
            if held not in engine.pitches:
                continue
            cells = []
            for rows in (([held] * STEPS, moving), (moving, [held] * STEPS)):
                free = np.stack([levels(engine, row, setting) for row in rows], axis=1).ravel()
                least = noise(free, engine, (held, *MOVING))
                more = noise(played(engine, rows, setting), engine, (held, *MOVING)) - least
                cells.append(f"{least:7.1f} dB {more:+.2f}")
            print(f"{name:13} {pitch_name(held):4} held in voice 1, 2: ", *cells, flush=True)


if __name__ == "__main__":
    main()
