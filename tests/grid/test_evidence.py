"""What speaks for a beat, where one kind of evidence stands alone."""

from __future__ import annotations

import numpy as np
import pytest

from arranger.grid.attacks import find_attacks
from arranger.grid.track.evidence import COLUMNS, find_evidence
from arranger.song.time import timed_columns
from tests.grid.songs import song_of


def test_a_chord_that_changes_is_new_and_one_that_is_struck_again_is_not() -> None:
    """Half a second an attack: C and G eight times, then C sharp and F sharp eight times."""
    pitches = [(60, 67)] * 8 + [(61, 66)] * 8
    notes = timed_columns(
        song_of(
            *([(beat, 1, pair[voice]) for beat, pair in enumerate(pitches)] for voice in (0, 1))
        )
    )
    novel = find_evidence(notes, find_attacks(notes)).columns[COLUMNS.index("novel")]
    # The shorter look back finds nothing (1 everywhere), the longer one the chord before (0 or 1).
    alike = np.delete(novel, [0, 7, 8])  # where the chords on both sides are the same
    assert alike == pytest.approx(novel[4])
    assert novel[8] == pytest.approx(2 * novel[4])
