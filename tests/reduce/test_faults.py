"""Small cases by hand for what is decided by one comparison or one sign."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.columns import joined_texts
from arranger.engine import load_engine
from arranger.reduce import Reduction, reduce
from arranger.reduce.perform.heard import Heard
from arranger.reduce.tell.account import account
from arranger.reduce.tell.asked import Asked
from arranger.reduce.tell.sentences import explanations
from arranger.reduce.tell.weighing import BarWeighing, Choice, weigh_bar
from arranger.reduce.tell.weighing_text import weighing_json, weighing_text
from arranger.reduce.worth.passages import CHANGE, _smoothed
from arranger.reduce.worth.tune_model import REACH, distances, in_song, voicing, with_neighbours
from arranger.rows import HOLD, REST
from arranger.settings import ReduceSettings
from tests.reduce.little_songs import Line, grid_of, silencing, song_of, taking

ENGINE = taking(load_engine("twin-phase"))


def reduced(*lines: Line) -> Reduction:
    song = song_of(*lines)
    return reduce(song, ENGINE, grid_of(song), ReduceSettings())


@pytest.mark.usefixtures("either_account")
def test_two_steps_are_enough_for_a_gap_and_one_is_not() -> None:
    two = reduced(Line([(0, 0.5, 72), (0.5, 0.5, 72)]))
    assert two.voice1 == (72, REST, 72, HOLD)
    one = reduced(Line([(0, 0.25, 72), (0.25, 0.25, 72)]))
    assert one.ledger.entries[1].reasons == ("repeat-tied",)


def test_a_tied_note_is_told_what_is_so_on_every_engine() -> None:
    """Where a drum or a gap could part two tones, no missing step is the cause."""
    song = song_of(Line([(0, 2, 60)], "voice 1"), Line([(0, 1, 72), (1, 2, 60)], "voice 2"))
    grid, engine = grid_of(song), load_engine("twin-phase")
    reduction = reduce(song, engine, grid, ReduceSettings(texture="as-written"))
    assert reduction.ledger.entries[2].reasons == ("repeat-tied",)
    told = joined_texts(explanations(song, grid, reduction, bars=[1] * 3, beats=[1.0, 1.0, 2.0]))[2]
    assert told.endswith(
        "it repeats C4 (tune), which sounds up to its start, so the two are one long tone"
    )


@pytest.mark.parametrize(
    ("late", "said"), [(0.05, "25 ms early"), (-0.05, "25 ms late"), (0.1, "50 ms early")]
)
def test_milliseconds_are_those_of_the_step(late: float, said: str) -> None:
    """A step lasts 125 ms: a note written 25 ms after its step is played 25 ms early."""
    song = song_of(Line([(1 + late, 1, 72)], "lead"))
    grid = grid_of(song)
    reduction = reduce(song, ENGINE, grid, ReduceSettings())
    assert reduction.ledger.entries[0].reasons[0] == "moved-to-step"
    (sentence,) = joined_texts(explanations(song, grid, reduction, bars=[1], beats=[2.0]))
    assert said in sentence


def asked(**first: float) -> Asked:
    """Return three notes on one step, two of one part; of the first, columns may say otherwise."""
    usual: dict[str, object] = {
        "onset": [0, 0, 0], "end": [2, 2, 2], "note_end": [2, 2, 2],
        "written_end": [2.0, 2.0, 2.0], "rings": [0.0] * 3, "offset": [0.0, 0.0, 0.0], "pitch": [72, 63, 50],
        "part": [0, 0, 1], "drum": [False] * 3, "sound": [None] * 3, "joins": {}, "gap": None, "lead": [0, 1, 2], "octave_of": [-1] * 3,
        "duplicate_of": [-1] * 3, "refused": {}, "tune": [False] * 3, "turning": [[False] * 4] * 2, "step_seconds": 0.125,
        "steps_per_beat": 4.0,
    }  # fmt: skip
    usual |= {name: [value, *usual[name][1:]] for name, value in first.items()}  # type: ignore[index]
    return Asked(**{"out": usual["pitch"], **usual})  # type: ignore[arg-type]


def heard(*rows: tuple[int, ...], drums: tuple[int, ...] = (-1,) * 4) -> Heard:
    """Return what is heard of rows with the notes of `asked`."""
    sources = []
    for row in rows:
        source, held = [], -1
        for cell in row:
            held = held if cell == HOLD else {72: 0, 63: 1, 50: 2}.get(cell, -1)
            source.append(held)
        sources.append(source)
    return Heard(rows, sources, drums, silencing(drums))


@pytest.mark.usefixtures("either_account")
@pytest.mark.parametrize(
    ("offset", "reason"),
    [
        (0.0, "voices-full"),
        (0.1, "voices-full"),
        (0.11, "same-step"),
        (-0.2, "same-step"),
    ],
)
def test_a_chord_is_no_flam(offset: float, reason: str) -> None:
    """A tenth of a step apart or 10 ms, whichever is more, is together."""
    busy = heard((72, HOLD, REST, REST), (50, HOLD, REST, REST))
    found = account(asked(offset=offset), busy, [None] * 4)
    assert found[1].reasons == (reason,)


@pytest.mark.usefixtures("either_account")
@pytest.mark.parametrize(("steps", "outcome"), [(12, "dropped"), (11, "changed")])
def test_a_note_that_is_heard_for_most_of_its_length_is_not_lost(steps: int, outcome: str) -> None:
    """It begins a beat and a half late, and then sounds for six steps."""
    free = (50, *[HOLD] * 11), (72, *[HOLD] * 5, 63, *[HOLD] * 5)
    rows = heard(*free, drums=(-1,) * 12)
    long = asked(end=6, note_end=6, written_end=6.0)
    ends = [6, steps, 12]
    long = long._replace(
        end=ends, note_end=ends, written_end=[6.0, float(steps), 12.0],
        turning=[[False] * 12] * 2,
    )  # fmt: skip
    entry = account(long, rows, [None] * 12)[1]
    assert (entry.outcome, entry.reasons[0]) == (outcome, "voices-full")


@pytest.mark.usefixtures("either_account")
def test_a_note_that_ends_where_its_line_goes_on_made_no_gap() -> None:
    """Step 2 is silent by itself: the note was to end there, though it is written to end later."""
    sources = ((0, 0, -1, 1), (-1,) * 4)
    rows = Heard(((72, HOLD, REST, 72), (REST,) * 4), sources, (-1,) * 4, silencing((-1,) * 4))
    whole = asked(written_end=2.6)
    assert account(whole, rows, [None] * 4)[0].reasons == ("moved-to-step",)
    longer = asked(written_end=3.0, end=3, note_end=3)
    assert account(longer, rows, [None] * 4)[0].reasons == ("shortened-for-gap",)


@pytest.mark.usefixtures("either_account")
def test_a_gap_keeps_a_voice_busy_for_the_note_that_was_held_just_before() -> None:
    """The first note lasts for one step, after another; its repetition comes after a silent one."""
    sources = ((1, 0, -1, 1), (-1,) * 4)
    rows = Heard(((63, 72, REST, 72), (REST,) * 4), sources, (-1,) * 4, silencing((-1,) * 4))
    later = asked()._replace(onset=[1, 0, 2], end=[3, 1, 3], note_end=[3, 1, 3])
    assert account(later, rows, [None] * 4)[2].by == (0,)


@pytest.mark.usefixtures("either_account")
def test_a_note_that_the_next_ends_names_that_and_no_drum() -> None:
    rows = heard((72, HOLD, 50, HOLD), (REST,) * 4)
    entry = account(asked(end=4, note_end=4, written_end=4.0), rows, [None] * 4)[0]
    assert (entry.reasons, entry.by) == (("shortened-by-next-note",), (2,))
    rows = heard((72, HOLD, HOLD, HOLD), (REST,) * 4, drums=(-1, -1, 7, 8))
    entry = account(asked(end=4, note_end=4, written_end=4.0), rows, [None] * 4)[0]
    assert (entry.reasons, entry.by) == (("shortened-by-next-note",), (7,))


@pytest.mark.usefixtures("either_account")
@pytest.mark.parametrize(
    ("rings", "reasons"),
    [(0.0, ("shortened-by-next-note",)), (1.4, ("shortened-by-next-note",)), (1.5, ()), (3.0, ())],
)
def test_a_note_may_be_left_once_its_key_is_up(rings: float, reasons: tuple[str, ...]) -> None:
    """It is left after two of four steps; half a step before its key is up is early enough."""
    rows = heard((72, HOLD, 50, HOLD), (REST,) * 4)
    held = asked(end=4, note_end=4, written_end=4.0, rings=rings)
    assert account(held, rows, [None] * 4)[0].reasons == reasons


def test_louder_is_more_in_every_feature() -> None:
    notes = voicing(
        np.array([0.0, 0.0, 1.0]),
        np.array([1.0, 1.0, 2.0]),
        np.array([60, 64, 67]),
        np.array([0.9, 0.3, 0.3]),
    )
    found = in_song(notes)
    assert found[:, 4] == pytest.approx([1.6, -0.8, -0.8])
    assert found[0, 5] > 0 > found[1, 5]
    # the neighbour one place on, as the first note has it: the softer third, a major third above
    where = distances(with_neighbours(notes))
    assert where[13, 0, REACH + 1] == pytest.approx(4 * -0.6)
    assert where[9, 0, REACH + 1] == pytest.approx(np.tanh(4 / 5))


def test_what_was_weighed_is_told_to_a_hundredth_and_kept_to_a_ten_thousandth() -> None:
    other = Choice(("beat 1: voice 1 rests",), 0.987654, {"attack": 0.987654})
    found = BarWeighing(
        bar=3, texture="", held=("voice 1: silent",), turns=(), terms={"tied": 0.123456},
        others=(other,),
    )  # fmt: skip
    text = weighing_text(found)
    assert "costs 0.12 beats of the tune: tied 0.12" in text
    assert "runner-up: 0.99 more" in text
    assert "attack +0.99" in text
    told = json.loads(weighing_json(found))
    assert told["choice"]["terms"] == {"tied": 0.1235}
    assert told["others"][0]["more"] == 0.9877
    assert told["others"][0]["terms"] == {"attack": 0.9877}


def test_a_difference_is_told_once_for_as_long_as_it_lasts() -> None:
    """An entry costs so much here that the bass is left out; it would last for three segments."""
    song = song_of(
        Line([(0, 4, 72)], "lead"),
        Line([(0, 3, 48)], "bass"),
        Line([(1, 1, 64), (2, 1, 65)], "mid"),
    )
    grid = grid_of(song)
    grid = replace(grid, bars=(grid.bars[0]._replace(steps=grid.steps),))
    costs = {"entry": 3.0, "line": 0.02, "wrong-voice": 0.03}
    found = weigh_bar(song, ENGINE, grid, ReduceSettings(costs=costs), 1, most=9)
    differs = [other.differs for other in found.others]
    bass = "beat 1: voice 2 has C3 of 'bass'"
    assert (bass,) in differs
    assert (bass, "beat 2: voice 2 has E4 of 'mid'", "beat 3: voice 2 has C3 of 'bass'") in differs


@pytest.mark.usefixtures("either_account")
def test_half_of_a_notes_length_is_enough_to_merge_it_wherever_it_stands() -> None:
    """The second note asks for two steps; another plays its pitch on one of them, or on none."""
    later = asked()._replace(onset=[0, 2, 3], end=[2, 4, 4], note_end=[2, 4, 4])
    rows = ((72, HOLD, 50, HOLD), (REST, REST, REST, 63))
    sources = ((0, 0, 0, 0), (-1, -1, -1, 2))
    half = Heard(rows, sources, (-1,) * 4, silencing((-1,) * 4))
    found = account(later, half, [None] * 4)[1]
    assert (found.outcome, found.reasons, found.by) == ("merged", ("same-pitch-doubled",), (2,))
    none = Heard((rows[0], (REST,) * 4), sources, (-1,) * 4, silencing((-1,) * 4))
    assert account(later, none, [None] * 4)[1].outcome == "dropped"


def test_beats_are_counted_from_the_start_of_the_bar_that_is_asked_for() -> None:
    song = song_of(Line([(0, 4, 72), (4, 2, 74), (6, 2, 76)], "lead"))
    grid = grid_of(song)
    first = grid.bars[0]._replace(steps=16)
    grid = replace(grid, bars=(first, first._replace(number=2, first_step=16)))
    held = weigh_bar(song, ENGINE, grid, ReduceSettings(), 2).held
    assert held[0] == "voice 1: beat 1 D5 of 'lead', beat 3 E5 of 'lead'"


@given(st.integers(0, 2**32), st.integers(1, 3), st.integers(1, 4))
def test_who_has_the_tune_when_is_weighed_over_all_histories(
    seed: int, parts: int, stretches: int
) -> None:
    """The forward-backward algorithm against the sum over every sequence of parts."""
    seen = np.random.default_rng(seed).normal(0.0, 1.0, (stretches, parts))
    change = np.exp(-CHANGE) / max(parts - 1, 1)
    expected = np.zeros((stretches, parts))
    for path in product(range(parts), repeat=stretches):
        steps = [1.0 - change * (parts - 1) if a == b else change for a, b in pairwise(path)]
        likelihood = np.exp(sum(seen[t, part] for t, part in enumerate(path)))
        for t, part in enumerate(path):
            expected[t, part] += likelihood * np.prod(steps)
    expected /= expected.sum(axis=1, keepdims=True)
    assert _smoothed(seen) == pytest.approx(expected)
