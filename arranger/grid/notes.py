"""The song's notes as columns, and the times of maps as arrays.

Everything after this works on whole columns: a Python loop over notes costs more than all the
arithmetic on them together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from arranger.song.time import seconds_at

if TYPE_CHECKING:
    import numpy as np
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
    columns = song.columns
    return NoteColumns(
        part=columns.part,
        onset_ticks=columns.onset,
        end_ticks=columns.end,
        onset_seconds=seconds_at(song, columns.onset),
        end_seconds=seconds_at(song, columns.end),
        pitch=columns.pitch,
        loudness=columns.loudness,
        drum=columns.drum,
    )
