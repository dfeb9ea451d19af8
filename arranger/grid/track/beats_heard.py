"""Where beats are heard: the network over frames of a fiftieth of a second, and the beat that suits it best.

The network gives the odds of a beat at each frame. A beat gains the odds at its frames and pays for each
change of its period; the best is found exactly, by dynamic programming over frames and periods.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.track.frames import frames_of
from arranger.grid.track.network import load, run

if TYPE_CHECKING:
    from arranger.columns import Floats
    from arranger.grid.attacks import Attacks
    from arranger.grid.track.evidence import Evidence
    from arranger.grid.track.network import Frames
    from arranger.song.notes import TimedColumns

FRAMES_A_SECOND = 50
BEFORE = 2
"""Frames before the first attack."""
SUREST = 5.0
"""Log odds beyond this count as this."""
PERIODS = np.array((*range(12, 44), *range(44, 82, 2)))
"""Periods of a beat in frames."""
CHANGE = 12.0
"""Price of a period that changes, for the logarithm of the change."""
REACH = 8
"""How many of `PERIODS` a period may go up or down from beat to beat."""
USUAL_SECONDS, USUAL_SPREAD = 0.6, 0.6
"""The usual first period, and the spread of its logarithm."""
NEVER = -1e9


class HeardBeats(NamedTuple):
    """What the network heard."""

    odds: Frames
    """Log odds of a beat at each frame, shape (frames,)."""
    first: float
    """Seconds of frame 0."""

    def worth(self, beats: Floats) -> float:
        """Return the log odds that beats at some seconds gain together."""
        at = np.rint((beats - self.first) * FRAMES_A_SECOND).astype(np.int64)
        at = at[(at >= 1) & (at < len(self.odds) - 1)]
        around = np.maximum(np.maximum(self.odds[at - 1], self.odds[at + 1]), self.odds[at])
        return float(around.sum())


def beat_frames(notes: TimedColumns, attacks: Attacks, evidence: Evidence) -> Frames:
    """Return what the network is shown; frame `BEFORE` is at the first attack."""
    first = evidence.seconds[0]
    at = (evidence.seconds - first) * FRAMES_A_SECOND + BEFORE
    start = (notes.onset_seconds - first) * FRAMES_A_SECOND + BEFORE
    end = (notes.end_seconds - first) * FRAMES_A_SECOND + BEFORE
    count = int(np.ceil(at[-1])) + 2 * FRAMES_A_SECOND
    return frames_of(notes, attacks, evidence, at, (start, end), count)


def hear_beats(notes: TimedColumns, attacks: Attacks, evidence: Evidence) -> HeardBeats:
    """Return the odds of beats of a song."""
    odds = run(load("beats.npz"), beat_frames(notes, attacks, evidence))[:, 0]
    first = float(evidence.seconds[0]) - BEFORE / FRAMES_A_SECOND
    return HeardBeats(np.clip(odds, -SUREST, SUREST), first)


def follow_heard(heard: HeardBeats, shortest: float, longest: float) -> Floats:
    """Return the seconds of the best beat whose period stays between two; empty if there is none."""
    seconds = PERIODS / FRAMES_A_SECOND
    periods = PERIODS[(seconds >= shortest) & (seconds <= longest)]
    if not len(periods):
        return np.zeros(0)
    frames = _best_frames(heard.odds, periods)
    return heard.first + frames / FRAMES_A_SECOND


def _best_frames(odds: Frames, periods: np.ndarray) -> Floats:
    count, many, most = len(odds), len(periods), int(periods.max())
    logs = np.log(periods)
    begin = -0.5 * (np.log(periods / FRAMES_A_SECOND / USUAL_SECONDS) / USUAL_SPREAD) ** 2
    # The best way on to each period, from frames `most` before the first; a block at a time, since no
    # period is shorter than the block.
    onward = np.full((count + most, many), NEVER, dtype=np.float32)
    came = np.zeros((count, many), dtype=np.int8)
    fresh = np.zeros((count, many), dtype=np.bool_)
    shifts = np.arange(-REACH, REACH + 1)
    source = np.arange(many)[:, None] + shifts
    inside = (source >= 0) & (source < many)
    source = np.clip(source, 0, many - 1)
    price = np.where(inside, CHANGE * np.abs(logs[:, None] - logs[source]), -NEVER)
    price = price.astype(np.float32)
    best, where = NEVER, (0, 0)
    columns = np.arange(many)
    for start in range(0, count, int(periods.min())):
        size = min(int(periods.min()), count - start)
        before = onward[(start + most + np.arange(size))[:, None] - periods, columns]
        fresh[start : start + size] = before < begin
        reached = np.maximum(before, begin) + odds[start : start + size, None]
        if reached.max() > best:
            best = float(reached.max())
            row, column = divmod(int(reached.argmax()), many)
            where = (start + row, column)
        ways = reached[:, source] - price
        chosen = ways.argmax(axis=2)
        came[start : start + size] = chosen - REACH
        onward[start + most : start + most + size] = np.take_along_axis(
            ways, chosen[:, :, None], 2
        )[:, :, 0]
    frame, column = where
    found = [frame]
    while not fresh[frame, column]:
        frame -= int(periods[column])
        column += int(came[frame, column])
        found.append(frame)
    return np.array(found[::-1], dtype=np.float64)
