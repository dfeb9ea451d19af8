"""What finished rows let be heard."""

from __future__ import annotations

from arranger.reduce.perform.heard import Heard
from arranger.rows import HOLD, REST, pitches_of
from tests.reduce.little_songs import silencing


def test_a_rest_ends_a_tone() -> None:
    row = (HOLD, 60, HOLD, REST, HOLD, 62, REST, REST)
    assert pitches_of(row).tolist() == [-1, 60, 60, -1, -1, 62, -1, -1]


def test_a_tone_before_two_rests_makes_room_for_no_repetition() -> None:
    row, silent, none = (60, REST, REST, 60), (REST,) * 4, (-1,) * 4
    heard = Heard((row, silent), ((0, -1, -1, 1), none), none, silencing(none))
    assert heard.gap_before(heard.runs[0][0]) is None
    row, sources = (60, REST, 60, REST), (0, -1, 1, -1)
    heard = Heard((row, silent), (sources, none), none, silencing(none))
    assert heard.gap_before(heard.runs[0][0]) == 1
