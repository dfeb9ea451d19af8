"""Which span is on top at each moment: against looking at every moment by itself."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.reduce.worth.note_table import cover, heard_share, note_on_top, note_table
from tests.reduce.little_songs import Line, song_of

SPANS = st.lists(st.tuples(st.integers(0, 30), st.integers(1, 30), st.integers(0, 9)), max_size=20)


@settings(deadline=None)
@given(SPANS)
def test_cover_equals_looking_at_every_moment(spans):
    start = np.array([s for s, _, _ in spans], dtype=np.int64)
    stop = np.array([s + n for s, n, _ in spans], dtype=np.int64)
    rank = np.array([r for _, _, r in spans], dtype=np.int64)
    expected = [
        max((r for s, n, r in spans if s <= moment < s + n), default=-1) for moment in range(61)
    ]
    assert cover(start, stop, rank, 61).tolist() == expected


def test_shares_of_time_on_top():
    # a held C4 with E4 over its second half (120 beats a minute: a beat lasts half a second)
    table = note_table(song_of(Line([(0, 2, 60), (1, 1, 64)])))
    top = note_on_top(table, table.pitch.astype(float))
    assert heard_share(table, top).tolist() == [0.5, 1.0]
    assert table.duration.tolist() == [1.0, 0.5]
