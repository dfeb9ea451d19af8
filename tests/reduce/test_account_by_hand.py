"""The account of rows written out by hand: where one step or a millisecond more decides."""

from __future__ import annotations

import numpy as np
import pytest

from arranger.reduce.perform.heard import Heard, Hidden
from arranger.reduce.tell.account import account
from arranger.reduce.tell.asked import Asked
from arranger.rows import HOLD, REST

NONE = (-1,) * 6

pytestmark = pytest.mark.usefixtures("either_account")


def asked_for(*notes: tuple[int, int, int], **changed: object) -> Asked:
    """Return a song of tones, from onset, end and pitch of each, on six steps of an eighth second."""
    onset, end, pitch = zip(*notes, strict=True)
    count = range(len(notes))
    nothing, none = [0.0] * len(notes), [-1] * len(notes)
    whole = Asked(
        onset=onset, end=end, note_end=end, written_end=end, rings=nothing, offset=nothing,
        pitch=pitch, out=pitch, part=count, drum=[False] * len(notes), sound=[None] * len(notes),
        joins={}, lead=count, octave_of=none, duplicate_of=none, gap=None, refused={},
        tune=[False] * len(notes), turning=[[False] * 6] * 2, step_seconds=0.125, steps_per_beat=4.0,
    )  # fmt: skip
    return whole._replace(**changed)


def heard_of(
    row: tuple[int, ...], sources: tuple[int, ...], hidden: tuple[float, ...] = (0.0,) * 6
) -> Heard:
    """Return what is heard of voice 1; voice 2 rests, and drums hide so many seconds of each step."""
    silent = Hidden(hidden, np.zeros(6, dtype=np.bool_))
    return Heard((row, (REST,) * 6), (sources, NONE), (9, *NONE[1:]), silent)


@pytest.mark.parametrize(("seconds", "reasons"), [(0.06, ()), (0.061, ("delayed-by-drum",))])
def test_a_start_up_to_60_ms_after_a_drum_is_on_its_beat(
    seconds: float, reasons: tuple[str, ...]
) -> None:
    row, sources = (60, HOLD, REST, REST, REST, REST), (0, 0, -1, -1, -1, -1)
    heard = heard_of(row, sources, (seconds, 0.0, 0.0, 0.0, 0.0, 0.0))
    (entry,) = account(asked_for((0, 2, 60)), heard, [None] * 6)
    assert (entry.reasons, entry.late_seconds, entry.by) == (reasons, seconds, (9,))


@pytest.mark.parametrize(
    ("turning", "reason"),
    [
        (1, "broken-chord"),
        (2, "broken-chord"),
        (3, "shortened-by-next-note"),
        (0, "shortened-by-next-note"),
    ],
)
def test_a_note_takes_turns_if_they_are_taken_on_its_first_or_last_step(
    turning: int, reason: str
) -> None:
    # heard on steps 1 and 2 of the five it asks for; then another note has the voice
    heard = heard_of((REST, 60, HOLD, 62, HOLD, HOLD), (-1, 0, 0, 1, 1, 1))
    turns = [step == turning for step in range(6)]
    asked = asked_for((1, 6, 60), (3, 6, 62), turning=[turns, [False] * 6])
    assert account(asked, heard, [None] * 6)[0].reasons == (reason,)


def test_only_a_silent_step_before_the_same_pitch_is_a_gap() -> None:
    heard = heard_of((60, REST, 60, 62, 60, HOLD), (1, -1, 2, 0, 3, 3))
    gaps = [heard.gap_before(heard.runs[note][0]) for note in (1, 2, 3)]
    assert gaps == [2, None, None], "note 0 sounds between 2 and 3, and nothing comes after 3"
