"""Who answers where the tune takes breath."""

from __future__ import annotations

import pytest

from arranger.columns import joined_texts
from arranger.engine import load_engine
from arranger.reduce import reduce
from arranger.reduce.choose.breaths import breaths
from arranger.reduce.choose.candidates import lay_out
from arranger.reduce.tell.sentences import explanations
from arranger.settings import ReduceSettings
from tests.reduce.little_songs import Line, grid_of, song_of, tones_of

ENGINE = load_engine("twin-phase")
TUNE = [(4 * i + at, 1, p) for i in range(4) for at, p in ((0, 76), (1, 79), (2, 77))]
BASS = [(2 * i, 2, 43) for i in range(14)]
LONE = [(4 * i + 3, 0.5, 64) for i in range(3)]
PHRASE = [(4 * i + 3 + at, 0.5, p) for i in range(3) for at, p in ((0, 64), (0.5, 67))]


def parted(beats: float) -> list[tuple[float, float, int]]:
    """Return the tune with so long a rest after its second bar."""
    return [(on + (beats - 1) * (on >= 8), length, p) for on, length, p in TUNE]


@pytest.mark.parametrize(
    ("tune", "other", "heard"),
    [
        (TUNE, LONE, set()),
        (TUNE, PHRASE, {64, 67}),
        (parted(4), [(8, 2, 64)], set()),
        (parted(5), [(8, 2, 64)], {64}),
        (TUNE, [(15, 1, 64)], {64}),  # after its end
    ],
    ids=["a lone note", "a phrase", "four beats", "a rest", "the end"],
)
def test_voice_1_answers_with_phrases_in_the_breaths_of_the_tune(
    tune: list[tuple[float, float, int]],
    other: list[tuple[float, float, int]],
    heard: set[int],
) -> None:
    lines = Line(tune, "Melody"), Line(BASS, "Bass"), Line(other, "Horn", 60)
    song = song_of(*lines)
    reduction = reduce(song, ENGINE, grid_of(song), ReduceSettings())
    sources = [song.notes[note] for note in reduction.sources1 if note >= 0]
    assert {note.pitch for note in sources if note.part == 2} == heard
    assert {note.id for note in song.notes if note.part == 0} <= set(reduction.sources1)


@pytest.mark.parametrize(
    ("others", "tune", "found"),
    [
        (((1, 3, 60), (4, 6, 62)), ((0, 1, 72), (3, 4, 74)), [-1, 1, -1, -1]),
        (((0, 2, 60), (3, 5, 62)), ((2, 3, 72), (5, 6, 74)), [-1, -1, 3, -1]),
    ],
    ids=["from its first step", "after others"],
)
def test_the_tune_breathes_between_its_tones_alone(
    others: tuple[tuple[int, int, int], ...],
    tune: tuple[tuple[int, int, int], ...],
    found: list[int],
) -> None:
    tones = tones_of(*((*other, 0.0) for other in others), *((*tone, 1.0) for tone in tune))
    assert breaths(lay_out(tones, steps=6, steps_per_beat=4.0)).tolist() == found


def test_a_note_left_out_while_a_voice_rests_says_that_it_would_stand_alone() -> None:
    song = song_of(Line(TUNE, "Melody"), Line(BASS, "Bass"), Line(LONE, "Horn", 60))
    grid = grid_of(song)
    reduction = reduce(song, ENGINE, grid, ReduceSettings())
    lone = [note.id for note in song.notes if note.part == 2]
    entries = [reduction.ledger.entries[note] for note in lone]
    assert {(entry.outcome, entry.reasons) for entry in entries} == {("dropped", ("stands-alone",))}
    bass = {note.id for note in song.notes if note.part == 1}
    assert all(set(entry.by) <= bass for entry in entries)
    told = joined_texts(explanations(song, grid, reduction, bars=[1] * 40, beats=[1.0] * 40))[
        lone[0]
    ]
    assert told.endswith("a voice was free, but it would stand alone there, between other lines")
