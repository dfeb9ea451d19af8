"""What tells songs with the same notes."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from arranger.songbook.known.song_record import notes_digest

NOTES = st.lists(
    st.tuples(st.integers(0, 4000), st.integers(1, 500), st.integers(0, 127), st.booleans()),
    min_size=1,
)


@given(NOTES, st.randoms(use_true_random=False), st.integers(0, 3))
def test_the_order_of_notes_and_the_resolution_make_no_other_song(
    notes: list[tuple[int, int, int, bool]], chance: object, field: int
) -> None:
    digest = notes_digest(96, *zip(*notes, strict=True))
    shuffled = sorted(notes, key=lambda _: chance.random())  # type: ignore[attr-defined]
    finer = [(5 * onset, 5 * duration, pitch, drum) for onset, duration, pitch, drum in shuffled]
    assert notes_digest(480, *zip(*finer, strict=True)) == digest
    other = list(notes[0])
    other[field] = not other[field] if field == 3 else other[field] + 1
    assert notes_digest(96, *zip(*[tuple(other), *notes[1:]], strict=True)) != digest
    assert notes_digest(96, *zip(*[*notes, notes[0]], strict=True)) != digest
