"""Notes as columns: the sequence that a song shows is what the columns hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.song.notes import Columns, Note, Notes
from tests.grid.songs import song_of

NUMBERS = st.integers(0, 2**40)
ROWS = st.lists(
    st.tuples(
        *[NUMBERS] * 5,
        st.integers(0, 127),
        st.integers(1, 127),
        st.floats(0, 1),
        st.booleans(),
        st.integers(-12, 12),
        NUMBERS,
    ),
    max_size=20,
)


@settings(max_examples=40)
@given(ROWS)
def test_notes_come_out_as_they_went_in(rows: list[tuple[int, ...]]) -> None:
    made = tuple(Note(number, *row) for number, row in enumerate(rows))
    notes = Notes(Columns.of(made))
    assert tuple(notes) == made
    assert notes == made
    assert hash(notes) == hash(made)
    assert [notes[index] for index in range(len(made))] == list(made)
    assert notes[1:] == made[1:]
    assert notes[::-2] == made[::-2]
    assert all(
        type(mine) is type(theirs)
        for note in notes
        for mine, theirs in zip(note, made[note.id], strict=True)
    )
    assert Notes(Columns.of(notes)) == notes


def test_long_songs_are_iterated_in_pieces() -> None:
    song = song_of([(index, 1, 60 + index % 7) for index in range(10_000)])
    assert [note.id for note in song.notes] == list(range(10_000))
    assert [note.pitch for note in song.notes] == song.columns.pitch.tolist()
    assert song.notes[-1] == song.notes[9_999]
    with pytest.raises(IndexError):
        song.notes[10_000]


def test_a_song_with_another_note_is_another_song() -> None:
    song = song_of([(0, 1, 60), (1, 1, 62)])
    other = replace(song, notes=[song.notes[0], song.notes[1]._replace(pitch=63)])
    assert other != song
    assert replace(other, notes=song.notes) == song


def test_columns_cannot_be_changed_by_a_stage() -> None:
    song = song_of([(0, 1, 60)])
    with pytest.raises(ValueError, match="read-only"):
        song.columns.pitch[0] = 61
    assert song.columns.end.dtype == np.int64
