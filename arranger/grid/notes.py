"""The song's notes as columns, and the times of maps as arrays.

Everything after this works on whole columns: a Python loop over notes costs more than all the
arithmetic on them together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from arranger.song.model import Note
from arranger.song.time import seconds_at

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from arranger.song.model import Song


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoteColumns:
    """Columns of shape (notes,), in the order of ``Song.notes``, which is the order of onsets."""

    part: NDArray[np.int64]
    onset_ticks: NDArray[np.int64]
    end_ticks: NDArray[np.int64]
    onset_seconds: NDArray[np.float64]
    end_seconds: NDArray[np.float64]
    pitch: NDArray[np.int64]
    loudness: NDArray[np.float64]
    drum: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.part)


def note_columns(song: Song) -> NoteColumns:
    """Return the notes of a song as columns."""
    rows: Iterable[Sequence[float]] = (
        zip(*song.notes, strict=True) if song.notes else [()] * len(Note._fields)
    )
    column = dict(zip(Note._fields, rows, strict=False))
    onset_ticks = np.array(column["onset"], dtype=np.int64)
    end_ticks = onset_ticks + np.array(column["duration"], dtype=np.int64)
    return NoteColumns(
        part=np.array(column["part"], dtype=np.int64),
        onset_ticks=onset_ticks,
        end_ticks=end_ticks,
        onset_seconds=seconds_at(song, onset_ticks),
        end_seconds=seconds_at(song, end_ticks),
        pitch=np.array(column["pitch"], dtype=np.int64),
        loudness=np.array(column["loudness"], dtype=np.float64),
        drum=np.array(column["drum"], dtype=np.bool_),
    )
