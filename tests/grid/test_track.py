"""Beat tracking on pieces written here and played by a seeded model of a person.

The model (`tests.benchmarks.human`) knows where each note stands in the score; nothing is compared
with what the tracker itself found before.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from arranger.engine import load_engine
from arranger.errors import LimitError
from arranger.grid import plan_grid
from arranger.settings import GridSettings
from arranger.song.time import seconds_at
from tests.benchmarks.human import play
from tests.grid.songs import song_of

ENGINE = load_engine("twin-phase")
QUARTER = Fraction(1, 4)


def ballad(bars: int = 24):
    """Return a tune over broken chords and bass notes, four crotchets a bar, in quarter notes."""
    rng = np.random.default_rng(3)
    tune, middle, bass = [], [], []
    for bar in range(bars):
        at, root = 4.0 * bar, (48, 45, 41, 43)[bar % 4]
        bass += [(at, 2.0, root - 12), (at + 2, 2.0, root - 5)]
        middle += [(at + i / 2, 0.5, root + (0, 7, 12, 16)[i % 4]) for i in range(8)]
        rhythm = [(0, 1.5), (1.5, 0.5), (2, 1), (3, 1)] if bar % 2 else [(0, 2), (2, 1), (3, 1)]
        tune += [(at + on, length, root + 24 + int(rng.integers(0, 12))) for on, length in rhythm]
    return [tune, middle, bass]


def on_step(grid, score_beats) -> float:
    """Return the share of notes on the score's step, given one shift for the whole piece."""
    off = grid.onset_steps - np.rint(score_beats / float(grid.step_beats))
    return float(np.unique(off, return_counts=True)[1].max() / len(off))


@pytest.mark.parametrize(
    ("jitter", "drift", "least"), [(0.01, 0.03, 0.98), (0.02, 0.03, 0.97), (0.04, 0.10, 0.90)]
)
@pytest.mark.parametrize("bpm", [72, 100, 132])
def test_a_played_ballad_lands_on_the_steps_of_its_score(jitter, drift, least, bpm):
    played = play(ballad(), 7, bpm=bpm, jitter_seconds=jitter, drift=drift)
    # Half of 132 is as good a reading of this tune, so there the tempo is told.
    tempo = float(bpm) if bpm > 120 else None
    grid = plan_grid(played.song, ENGINE, GridSettings(step=QUARTER, tempo=tempo))
    assert grid.basis == "tracked"
    assert grid.timeline is not None
    beats = np.diff(grid.beats_seconds)
    assert 60 / float(np.median(beats)) == pytest.approx(bpm, rel=0.05)
    assert on_step(grid, played.score_beats) >= least


def test_beats_are_those_of_the_player():
    played = play(ballad(), 7, bpm=84, jitter_seconds=0.01, drift=0.03)
    grid = plan_grid(played.song, ENGINE)
    found = np.array(grid.beats_seconds)
    nearest = np.abs(found[:, None] - played.quarter_seconds[None, :-4]).min(axis=0)
    # 70 ms is the tolerance of the usual F-measure; most are far nearer.
    assert nearest.max() < 0.07
    assert np.median(nearest) < 0.015
    # The first bar line is the score's: the piece has no pickup.
    assert grid.bars[0].number == 1
    assert found[0] == pytest.approx(played.quarter_seconds[0], abs=0.05)


def test_steps_lie_evenly_between_beats():
    played = play(ballad(8), 7, bpm=84)
    grid = plan_grid(played.song, ENGINE, GridSettings(step=QUARTER))
    beats = np.array(grid.beats_seconds)
    onsets = seconds_at(played.song, [note.onset for note in played.song.notes])
    at = np.interp(onsets, beats, np.arange(len(beats)))
    inside = onsets >= beats[0]
    assert inside.mean() > 0.9
    assert grid.positions[inside] == pytest.approx(at[inside] * 4, abs=1e-6)


def test_the_files_tempo_helps_when_the_notes_keep_it():
    # Shifted by a bit more than a quarter beat: the tempo is right, the beats are not.
    parts = [[(on + 1.3, length, pitch) for on, length, pitch in part] for part in ballad()]
    grid = plan_grid(song_of(*parts, bpm=152), ENGINE, GridSettings(step=QUARTER))
    assert grid.basis == "tracked"
    assert grid.asked_bpm == pytest.approx(152, rel=0.001)
    bass = np.array([note.part == 2 for note in sorted(song_of(*parts).notes)])
    assert set((grid.onset_steps[bass] % 8).tolist()) == {0}


def test_the_user_says_the_level():
    played = play(ballad(), 7, bpm=84)
    for bpm in (42, 84, 168):
        grid = plan_grid(played.song, ENGINE, GridSettings(tempo=float(bpm)))
        beats = np.diff(grid.beats_seconds)
        assert 60 / np.median(beats) == pytest.approx(bpm, rel=0.06)


def test_the_user_says_the_first_beat():
    played = play(ballad(), 7, bpm=84)
    third = float(played.quarter_seconds[2])
    grid = plan_grid(played.song, ENGINE, GridSettings(first_beat=third))
    downbeat = grid.bars[1] if grid.bars[0].number == 0 else grid.bars[0]
    at = grid.beats_seconds[round(downbeat.first_step * float(grid.step_beats))]
    assert at == pytest.approx(third, abs=0.05)


def test_tracking_can_be_turned_off():
    played = play(ballad(8), 7, bpm=84)
    grid = plan_grid(played.song, ENGINE, GridSettings(beat="file"))
    assert grid.basis == "file"
    assert grid.beats_seconds == ()


def test_what_was_found_is_said():
    played = play(ballad(), 7, bpm=84)
    remarks = " ".join(plan_grid(played.song, ENGINE).remarks)
    assert "don't follow the file's beat" in remarks
    assert "the beat was tracked" in remarks


def test_days_of_silence_are_refused_before_anything_is_made():
    song = song_of([(i * 0.5437, 0.4, 60) for i in range(40)], [(190_000.0, 1, 60)], bpm=4)
    with pytest.raises(LimitError, match="too long"):
        plan_grid(song, ENGINE, GridSettings(beat="track"))


def test_too_little_to_track_falls_back_on_the_file():
    grid = plan_grid(song_of([(0.3, 1, 60), (1.7, 1, 62)]), ENGINE, GridSettings(beat="track"))
    assert grid.basis == "file"
