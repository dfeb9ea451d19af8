"""Tune and bass where all parts are flattened into one: chorales of the corpus that music21 ships.

Soprano and bass are what the parts of those scores say. The figure to beat is that of the highest
and the lowest note, which in four-part chorales are nearly always right.
"""

import numpy as np
import pytest

from arranger.reduce.worth.weigh import weigh
from arranger.settings import ReduceSettings
from tests.benchmarks.pop909 import flattened
from tests.benchmarks.scores import lines_of
from tests.reduce.little_songs import grid_of, song_of


@pytest.fixture(scope="module")
def chorales():
    from music21 import corpus

    return [song_of(*lines_of(corpus.parse(f"bach/bwv{n}"))) for n in ("66.6", "269", "40.8")]


def on_top(song, score, steps):
    """Return the pitch of the note with the highest score at each step, by looking at each."""
    grid = grid_of(song)
    best = np.full(steps, -np.inf)
    pitch = np.full(steps, -1)
    for note in song.notes:
        here = slice(grid.onset_steps[note.id], grid.end_steps[note.id])
        better = score[note.id] > best[here]
        best[here] = np.where(better, score[note.id], best[here])
        pitch[here] = np.where(better, note.pitch, pitch[here])
    return pitch


@pytest.mark.parametrize(("line", "part", "sign"), [("tune", 0, 1), ("bass", -1, -1)])
def test_outer_lines_of_chorales(chorales, line, part, sign):
    shares = []
    for song in chorales:
        flat = flattened(song, even=True)
        steps = grid_of(flat).steps
        own = song.parts[part].index
        true = on_top(
            song, np.array([0.0 if n.part == own else -np.inf for n in song.notes]), steps
        )
        weights = getattr(weigh(flat, ReduceSettings()), line)
        height = np.array([sign * note.pitch for note in flat.notes])
        ours = on_top(flat, weights + 1e-6 * height, steps)
        plain = on_top(flat, height.astype(float), steps)
        shares.append([np.mean((found == true)[true >= 0]) for found in (ours, plain)])
    ours, plain = np.mean(shares, axis=0)
    assert ours >= 0.985
    assert ours >= plain - 0.005
