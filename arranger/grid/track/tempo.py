"""Which periods a song's attacks repeat at.

The strengths of the attacks, as pulses `BLUR_SECONDS` wide, are compared with themselves a little
later (autocorrelation). A beat makes them alike after one period, and after two and four, so a
period is worth the mean of those three. Only delays of a few seconds are looked at, so a tempo that
drifts slowly blurs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from arranger.columns import Floats

FRAME_SECONDS = 0.010
BLUR_SECONDS = 0.020
SHORTEST_SECONDS, LONGEST_SECONDS = 0.33, 1.2
USUAL_SECONDS = 0.6
"""Where a period is looked for first; a factor of two away it needs to be plainer by `PLAINER`."""
PLAINER = 0.10
APART = 0.08
CONSTANT_RANGE = 0.015
"""How far a constant tempo is looked for around a period, as a share."""
CONSTANT_TURNS = 0.2
"""How far two neighbouring tempos may drift apart over the song, in divisions of a beat."""


def likely_periods(seconds: Floats, strength: Floats, most: int) -> list[float]:
    """Return up to ``most`` periods in seconds, the likeliest first."""
    frames = np.rint((seconds - seconds[0]) / FRAME_SECONDS).astype(np.int64)
    size = 1 << int(frames[-1] + 5 * LONGEST_SECONDS / FRAME_SECONDS).bit_length()
    pulses = np.bincount(frames, strength, size)
    turns = np.fft.rfftfreq(size, FRAME_SECONDS)
    blur = np.exp(-2.0 * (np.pi * turns * BLUR_SECONDS) ** 2)
    power = np.abs(np.fft.rfft(pulses - pulses.mean()) * blur) ** 2
    alike = np.fft.irfft(power, size)
    alike /= alike[0]
    lags = np.arange(
        int(SHORTEST_SECONDS / FRAME_SECONDS), int(LONGEST_SECONDS / FRAME_SECONDS), 0.25
    )
    every = np.arange(len(alike) // 2, dtype=np.float64)
    head = alike[: len(every)]
    worth = sum(np.interp(lags * times, every, head) for times in (1, 2, 4)) / 3.0
    worth -= PLAINER * np.abs(np.log2(lags * FRAME_SECONDS / USUAL_SECONDS))
    found: list[float] = []
    for index in np.argsort(-worth):
        period = float(lags[index] * FRAME_SECONDS)
        if all(abs(np.log(period / other)) > APART for other in found):
            found.append(period)
            if len(found) == most:
                break
    return found


def constant_beats(seconds: Floats, strength: Floats, period: float) -> Floats:
    """Return the times of even beats, near to a period, that the attacks keep best throughout.

    The frequency is searched for at the beat, then finer at its half and quarter, each time between
    the neighbours of the best before.
    """
    span = float(seconds[-1] - seconds[0])
    frequency = 1.0 / period
    reach = CONSTANT_RANGE * frequency
    turn = 0j
    for division in (1, 2, 4):
        points = int(np.ceil(2 * reach * span * division / CONSTANT_TURNS)) | 1
        asked = frequency + np.linspace(-reach, reach, max(points, 3))
        turns = np.exp(2j * np.pi * division * np.outer(asked, seconds - seconds[0])) @ strength
        best = int(np.abs(turns).argmax())
        frequency, turn = float(asked[best]), complex(turns[best])
        reach = 2 * reach / (len(asked) - 1)
    period = 1.0 / frequency
    phase = float(np.angle(turn)) / (2 * np.pi * 4) * period
    numbers = np.arange(-1, int(span / period) + 3, dtype=np.float64)
    beats: Floats = numbers * period + (seconds[0] + phase)
    return beats
