"""Grids of scores from the corpus that ships with music21, written and played.

The onsets, metres and lengths are music21's own reading; the player is the seeded model of
``tests.benchmarks.human``. The bounds for played scores are the project's goals; beside them stands
97.3 % onset F1 on piano performances whose beats are given (arXiv 2604.22290).
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from music21 import corpus

from arranger.engine import load_engine
from arranger.grid import plan_grid
from arranger.settings import GridSettings
from tests.benchmarks.human import play
from tests.grid.songs import song_of

ENGINE = load_engine("twin-phase")


def parts_of(name: str):
    parsed = corpus.parse(name).stripTies()
    parts = [
        [
            (float(element.offset), float(element.quarterLength), int(pitch.midi))
            for element in part.flatten().notes
            if not element.duration.isGrace
            for pitch in element.pitches
        ]
        for part in parsed.parts
    ]
    metre = parsed.recurse().getElementsByClass("TimeSignature").first()
    return parts, (metre.numerator, metre.denominator)


@pytest.mark.parametrize(
    ("name", "finest"),
    [
        ("bach/bwv66.6", Fraction(1, 2)),
        ("bach/bwv269", Fraction(1, 2)),
        ("luca/gloria", Fraction(1, 2)),
    ],
)
def test_a_written_score_lands_exactly(name, finest):
    # The finest note values of these are read off the scores.
    parts, metre = parts_of(name)
    song = song_of(*parts, metres=((0, *metre),))
    grid = plan_grid(song, ENGINE)
    assert grid.basis == "file"
    assert grid.step_beats <= finest
    assert grid.alternatives[0].collided == 0
    first = Fraction(grid.first_tick, song.ticks_per_beat)
    asked = [(Fraction(n.onset, song.ticks_per_beat) - first) / grid.step_beats for n in song.notes]
    assert grid.onset_steps.tolist() == asked


@pytest.mark.parametrize("name", ["bach/bwv66.6", "bach/bwv269", "bach/bwv57.8"])
@pytest.mark.parametrize(("jitter", "drift", "least"), [(0.02, 0.03, 0.95), (0.04, 0.10, 0.85)])
def test_a_played_chorale_lands_on_its_steps(name, jitter, drift, least):
    parts, metre = parts_of(name)
    played = play(parts, 1, bpm=80, jitter_seconds=jitter, drift=drift, metre=metre)
    grid = plan_grid(played.song, ENGINE, GridSettings(step=Fraction(1, 2)))
    assert grid.basis == "tracked"
    off = grid.onset_steps - np.rint(played.score_beats * 2)
    assert np.unique(off, return_counts=True)[1].max() >= least * len(off)
