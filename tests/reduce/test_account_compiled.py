"""The entries that are found in C are those found in Python, whatever rows and notes are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.reduce.perform.heard import Heard, Hidden
from arranger.reduce.tell import told
from arranger.reduce.tell.account import account
from arranger.reduce.tell.asked import Asked
from arranger.rows import REST

STEPS = 12
PITCH = st.sampled_from((48, 60, 60, 61, 72))
SHARE = st.sampled_from((-0.3, 0.0, 0.0, 0.05, 0.3, 0.6))
MAYBE = st.booleans()
SOUND = st.sampled_from((None, "kick", "snare", "both"))


@st.composite
def accounts(draw: st.DrawFn) -> tuple[Asked, Heard, list[str | None]]:
    """Draw notes of few pitches, and rows that mostly play them where they stand."""
    count = draw(st.integers(1, 8))

    def each(values: st.SearchStrategy[int | float | bool]) -> list[int | float | bool]:
        return [draw(values) for _ in range(count)]

    other = st.integers(-1, count - 1)
    onset = sorted(each(st.integers(0, STEPS - 1)))
    end = [draw(st.integers(first + 1, STEPS)) for first in onset]
    out = each(PITCH)
    drum = [draw(st.integers(0, 3)) == 0 for _ in range(count)]
    refused = {n: ("same-step", (0,)) for n in range(count) if draw(st.integers(0, 6)) == 0}
    asked = Asked(
        onset=onset, end=end, note_end=[min(e + draw(st.integers(0, 2)), STEPS) for e in end],
        written_end=[e + draw(SHARE) for e in end], rings=each(st.sampled_from((0.0, 0.0, 2.0))),
        offset=each(SHARE), pitch=[p + draw(st.sampled_from((0, 0, 12))) for p in out], out=out,
        part=each(st.integers(0, 1)), drum=drum,
        sound=[draw(SOUND) if is_drum else None for is_drum in drum],
        joins={"both": ("kick", "snare")},
        lead=[draw(st.sampled_from((note, 0))) for note in range(count)], octave_of=each(other),
        duplicate_of=each(other), gap="gap", refused=refused, tune=each(MAYBE),
        turning=[[draw(MAYBE)] * STEPS, draw(st.lists(MAYBE, min_size=STEPS, max_size=STEPS))],
        step_seconds=0.125, steps_per_beat=draw(st.sampled_from((2.0, 4.0))),
    )  # fmt: skip
    rows, sources = [], []
    for _ in range(2):
        held: list[int] = []
        while len(held) < STEPS:
            held += [draw(other)] * draw(st.integers(1, 4))
        sources.append(held[:STEPS])
        rows.append([REST if note < 0 else out[note] for note in held[:STEPS]])
    whole = np.array([draw(st.integers(0, 4)) == 0 for _ in range(STEPS)]) & draw(MAYBE)
    hidden = [draw(st.sampled_from((0.0, 0.0, 0.02, 0.07))) for _ in range(STEPS)]
    seconds = [0.125 if silent else part for silent, part in zip(whole, hidden, strict=True)]
    said = [draw(st.one_of(SOUND, st.just("gap"))) for _ in range(STEPS)]
    drums = [draw(st.sampled_from((20 + step, draw(other)))) for step in range(STEPS)]
    return asked, Heard(rows, sources, drums, Hidden(seconds, whole)), said


@settings(max_examples=150, deadline=None)
@given(accounts())
def test_both_find_the_same(given: tuple[Asked, Heard, list[str | None]]) -> None:
    found = account(*given)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(told, "_compiled", None)
        assert found == account(*given)


WRONG = ({"end": [9]}, {"onset": [-1]}, {"octave_of": [1]}, {"rings": []}, {"source": 1})


@pytest.mark.parametrize("wrong", WRONG, ids=lambda wrong: next(iter(wrong)))
def test_arrays_that_do_not_fit_each_other_are_refused(wrong: dict[str, list[int] | int]) -> None:
    nothing = Hidden([0.0] * 2, np.zeros(2, dtype=np.bool_))
    heard = Heard([[60, 60]] * 2, [[wrong.get("source", 0)] * 2] * 2, [-1] * 2, nothing)
    one = {name: [0] for name in Asked._fields}
    usual = {
        "end": [1],
        "turning": [[0] * 2] * 2,
        "step_seconds": 1.0,
        "steps_per_beat": 1.0,
        "joins": {},
        "gap": None,
    }
    changed = {name: value for name, value in wrong.items() if name != "source"}
    asked = Asked(**{**one, **usual, "refused": {}, **changed})  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="don't fit"):
        account(asked, heard, [None] * 2)
