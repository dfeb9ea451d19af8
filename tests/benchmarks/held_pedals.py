"""Whether a pedal that stays down is taken to be changed where players change it.

    python -m tests.benchmarks.held_pedals POP909 [--every N] [--offset K]

Of each song (see `tests.benchmarks.pop909`) whose piano is pedalled and has no pedal of more than
eight beats, the pedal is made to stay down. Reported is, over the notes of the piano, the time that
they share with those of the player by the time of either: as `arranger.song.midi.held_pedals` ends them,
with the pedal left out, and when all ring on. The rule was
chosen with ``--offset`` 1 and 2 (0.83, 0.61, 0.21).
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING
from unittest.mock import patch

import numpy as np

from arranger.song.midi import held_pedals
from tests.benchmarks import pop909

if TYPE_CHECKING:
    from arranger.song import Song

LEAST_RINGING = 0.3
"""Share of the piano's notes that the pedal must hold."""


def shared(ends: np.ndarray, truth: np.ndarray, onset: np.ndarray) -> float:
    return float((np.minimum(ends, truth) - onset).sum() / (np.maximum(ends, truth) - onset).sum())


def measure(folder: Path, name: str) -> tuple[float, float, float] | None:
    """Return the three shares, or None for a song that doesn't tell."""
    with patch.object(held_pedals, "LONG", 10**9):
        played, ringing = (pop909.song(folder, name, kind) for kind in ("as-it-is", "stuck"))
    changed = pop909.song(folder, name, "stuck")
    piano = [part.index for part in played.parts if part.name == "PIANO"]
    mine = np.isin(played.columns.part, piano)

    def rings(song: Song) -> np.ndarray:
        return song.columns.rings[mine]

    if not mine.any() or len(ringing.notes) != len(played.notes):
        return None
    if (rings(played) > 0).mean() < LEAST_RINGING or (rings(ringing) > 0).mean() < 0.5:
        return None
    if rings(played).max() > 8 * played.ticks_per_beat:
        return None
    onset, truth = played.columns.onset[mine], played.columns.end[mine]
    ways = changed.columns.end[mine], truth - rings(played), ringing.columns.end[mine]
    one, two, three = (shared(ends, truth, onset) for ends in ways)
    return one, two, three


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--every", type=int, default=12)
    parser.add_argument("--offset", type=int, default=3)
    given = parser.parse_args()
    names = pop909.names(given.folder)[given.offset :: given.every]
    rows = [found for name in names if (found := measure(given.folder, name)) is not None]
    told = zip(("changed", "left out", "ringing"), np.mean(rows, axis=0), strict=True)
    print(f"{len(rows)} songs:", *(f"{what} {share:.3f}" for what, share in told))


if __name__ == "__main__":
    main()
