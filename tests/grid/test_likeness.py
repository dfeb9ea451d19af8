"""What the network is told of harmony that changes and of what comes back."""

from __future__ import annotations

import numpy as np
import pytest

from arranger.grid.attacks import find_attacks
from arranger.grid.track.evidence import find_evidence
from arranger.grid.track.networks.bars_heard import CHANNELS, bar_frames
from arranger.grid.track.networks.frames import CHANNELS as FRAME_CHANNELS
from arranger.grid.track.networks.likeness import (
    BACK,
    BEFORE_AFTER,
    COLUMNS,
    LOW_BEFORE_AFTER,
    RHYTHM_BACK,
    likeness,
)
from arranger.song.time import timed_columns
from tests.grid.songs import TICKS, song_of


def _alike(one: np.ndarray, other: np.ndarray) -> float:
    size = np.sqrt((one**2).sum() * (other**2).sum())
    return float((one * other).sum() / size) if size else 0.0


def test_columns_are_what_their_table_says() -> None:
    random = np.random.default_rng(4)
    sounding, low, starting = (random.integers(0, 3, (150, 12)) * 1.0 for _ in range(3))
    strength = random.integers(0, 4, 150) * 1.0
    found = likeness(sounding, low, starting, strength)
    assert found.shape == (150, COLUMNS)
    padded = np.concatenate((strength, np.zeros(8)))
    for slot in (0, 3, 9, 70, 130, 149):
        plain = [
            _alike(rows[max(slot - width, 0) : slot].sum(0), rows[slot : slot + width].sum(0))
            if slot >= width
            else None
            for rows, widths in ((sounding, BEFORE_AFTER), (low, LOW_BEFORE_AFTER))
            for width in widths
        ]
        plain += [
            _alike(starting[slot - back :][:8].sum(0), starting[slot:][:8].sum(0))
            if slot >= back
            else 0.0
            for back in BACK
        ]
        plain += [
            _alike(padded[slot - back :][:8], padded[slot:][:8]) if slot >= back else 0.0
            for back in RHYTHM_BACK
        ]
        for ours, theirs in zip(found[slot].tolist(), plain, strict=True):
            if theirs is not None:
                assert ours == pytest.approx(theirs, abs=1e-6)


SLOTS = 4
"""In a beat."""


@pytest.mark.parametrize("beats", [2, 3, 4, 6, 8, 12, 16, 24, 32])
def test_what_comes_back_after_whole_bars_is_wholly_alike_in_one_column(beats: int) -> None:
    """Two, three, four and six beats, and up to eight bars of four: in time, and in its tones."""
    random, size = np.random.default_rng(beats), SLOTS * beats
    once, rhythm = random.integers(0, 3, (size, 12)) * 1.0, random.integers(1, 9, size) * 1.0
    many = -(-150 // size)
    starting, strength = np.tile(once, (many, 1)), np.tile(rhythm, many)
    found = likeness(starting, starting, starting, strength)[size:-8]
    back = found[:, len(BEFORE_AFTER) + len(LOW_BEFORE_AFTER) :]
    whole = np.flatnonzero(back.min(axis=0) > 1 - 1e-6).tolist()
    times = [beats_back for beats_back in (2, 3, 4, 6, 8, 12, 16, 24, 32) if beats_back <= beats]
    columns = [at for at, each in enumerate(times) if each == beats]
    columns += [9 + at for at, each in enumerate((2, 3, 4, 6)) if each == beats]
    assert whole[: len(columns)] == columns


@pytest.mark.parametrize(("beats", "columns"), [(1, [0, 3]), (2, [1, 4]), (4, [2])])
def test_harmony_changes_after_one_two_or_four_beats(beats: int, columns: list[int]) -> None:
    """Two chords by turns: nothing is alike where they change, and halfway between all is.

    A quarter of the way (3, 1) of them come before and (1, 3) after, or the other way round.
    """
    size = SLOTS * beats
    sounding = np.repeat(np.eye(2, 12)[[0, 1] * 4], size, axis=0)
    found = likeness(sounding, sounding, sounding, np.ones(len(sounding)))
    for column in columns:
        assert (found[size : 7 * size : size, column] == 0).all()
        assert found[size + size // 2 : 7 * size : size, column] == pytest.approx(1)
        assert found[size + size // 4 : 7 * size : size, column] == pytest.approx(6 / 10)


def test_a_network_sees_frames_and_likeness_and_the_tempo_last() -> None:
    tune = [(beat, 1, 60 + beat % 5) for beat in range(40)]
    song = song_of(tune)
    notes = timed_columns(song)
    attacks = find_attacks(notes)
    start, end = notes.onset / TICKS, notes.end / TICKS
    frames = bar_frames(notes, attacks, find_evidence(notes, attacks), start, end, 1.2)
    assert frames.shape[1] == CHANNELS == FRAME_CHANNELS + COLUMNS
    assert set(frames[:, -1].tolist()) == {1.0}
    rhythm = frames[32:100, -1 - len(RHYTHM_BACK) : -1]
    assert rhythm[:, 0] == pytest.approx(1.0)
    assert frames[40:100, FRAME_CHANNELS - 1 :][:, 0].max() <= 1.0


def test_likeness_is_that_of_what_the_frames_show_and_of_the_low_notes() -> None:
    """A high part over a low one, in which three notes in ten lie up to its F; a slot is a semiquaver."""
    parts = [[(n / 2, 0.5, 60 + n * n % 17) for n in range(70)]]
    parts.append([(n, 1, (36, 41, 43)[n * n % 3]) for n in range(35)])
    notes = timed_columns(song_of(*parts))
    attacks = find_attacks(notes)
    start, end = notes.onset / TICKS, notes.end / TICKS
    frames = bar_frames(notes, attacks, find_evidence(notes, attacks), start, end, 0.3)
    low = np.zeros((len(frames), 12))
    for pitch, first, last in zip(notes.pitch, start * 4, end * 4, strict=True):
        if pitch <= sorted(notes.pitch)[int(0.3 * 104)]:
            low[int(first) : int(last), pitch % 12] = np.log(2)
    starting, sounding = frames[:, 13:25], frames[:, 25:37]
    alike = likeness(sounding, low, starting, frames[:, 0])
    assert frames[:, 37:-1] == pytest.approx(alike, abs=1e-5)
    for seconds, tempo in ((0.3, -1), (0.1, -2), (2.4, 2), (9.0, 2)):
        again = bar_frames(notes, attacks, find_evidence(notes, attacks), start, end, seconds)
        assert again[:, -1] == pytest.approx(tempo)
