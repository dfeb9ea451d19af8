"""Losses of bars, worked out by hand from the table at `arranger.report.losses`."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.reduce.reasons import REASONS
from arranger.reduce.worth.weights import Weights
from arranger.report.losses import (
    DECIDED,
    ROLE_WEIGHT,
    Advice,
    BarLoss,
    bar_losses,
    note_roles,
    note_values,
    total_loss,
    worst_bars,
)

if TYPE_CHECKING:
    from arranger.conversion import Conversion


def test_loss_of_each_bar(hand: Conversion) -> None:
    first, second = bar_losses(hand)
    # bass changed 0.2 * 2, pad dropped 1 * 1, triangle dropped 1 * 0.7, tune tied 0.15 * 3,
    # each times (0.5 + velocity / 127 / 2)
    loudness = {velocity: 0.5 + velocity / 254 for velocity in (60, 70, 90, 100, 110)}
    lost = 0.4 * loudness[90] + loudness[60] + 0.7 * loudness[70] + 0.45 * loudness[100]
    worth = 9 * loudness[100] + 2 * loudness[90] + loudness[60]
    worth += 0.7 * (loudness[110] + loudness[70])
    assert first.loss == pytest.approx(lost)
    assert first.worth == pytest.approx(worth)
    assert (first.notes, first.dropped) == (7, 2)
    # bass folded 0.2 * 2 and tune moved 0.2 * 3
    assert second.loss == pytest.approx(0.4 * loudness[90] + 0.6 * loudness[100])
    assert (second.notes, second.dropped) == (2, 0)


def test_a_note_that_takes_turns_has_lost_nothing(hand: Conversion) -> None:
    entries = list(hand.reduction.ledger.entries)
    entries[1] = entries[1]._replace(reasons=("broken-chord",))
    ledger = replace(hand.reduction.ledger, entries=tuple(entries))
    turning = replace(hand, reduction=replace(hand.reduction, ledger=ledger))
    was, now = bar_losses(hand)[0], bar_losses(turning)[0]
    # the bass at a velocity of 90, which was late: 0.2 * 2 * (0.5 + 90 / 254)
    assert now.loss == pytest.approx(was.loss - 0.4 * (0.5 + 90 / 254))
    assert now[3:] == was[3:], "it still counts as a note of its worth"
    values = note_values(hand)
    losses = [total_loss(each.reduction, each.grid, values) for each in (hand, turning)]
    assert losses[0] - losses[1] == pytest.approx(was.loss - now.loss)
    assert worst_bars(turning)[0].sentence.endswith("of those heard, 1 tied to the note before")
    # Of lines, a note that is cut up has changed.
    lines = turning.reduction.passages[0]._replace(chords=0.59)
    cut = replace(turning, reduction=replace(turning.reduction, passages=(lines,)))
    assert bar_losses(cut)[0] == was
    assert "1 by turns with the rest of its chord" in worst_bars(cut)[0].sentence


def test_roles_of_notes_follow_their_part_without_weights(hand: Conversion) -> None:
    names = [list(ROLE_WEIGHT)[index] for index in note_roles(hand)]
    assert names[:5] == ["tune", "bass", "harmony", "drums", "drums"]


def test_only_notes_that_carry_the_bass_count_as_bass(hand: Conversion) -> None:
    weights = Weights(
        tune=np.array([1.0, 0, 0, 0, 0, 1, 1, 0, 0.4]),
        bass=np.array([0.0, 1, 0, 0, 0, 0, 0, 0.2, 0]),
        salience=np.ones(9),
        duplicate_of=np.full(9, -1),
        octave_of=np.full(9, -1),
        roles=hand.reduction.roles,
    )
    weighed = replace(hand, reduction=replace(hand.reduction, weights=weights))
    names = [list(ROLE_WEIGHT)[index] for index in note_roles(weighed)]
    assert names == [
        *("tune", "bass", "harmony", "drums", "drums"),
        *("tune", "tune", "harmony", "harmony"),
    ]


def test_worst_bar_comes_first_with_its_causes(hand: Conversion) -> None:
    first, second = worst_bars(hand)
    assert first.named == "bar 1"
    assert first.sentence == (
        "2 of 7 notes not heard: 1 left out because both voices were busy and "
        "1 without a sound in the engine; of those heard, 1 late because of a drum and "
        "1 tied to the note before"
    )
    assert second.sentence == ("every note is heard, but 1 moved to a step and 1 in another octave")


def test_repeated_bars_share_their_advice(parade: Conversion) -> None:
    told = worst_bars(parade, 8)
    assert len({advice.sentence for advice in told}) == len(told)
    places = [bar.place for advice in told for bar in advice.bars]
    assert len(places) == len(set(places))
    assert any(len(advice.bars) > 1 for advice in told)


def test_every_reason_has_short_words() -> None:
    assert set(DECIDED) == set(REASONS)


@pytest.mark.parametrize(
    ("numbers", "named"),
    [
        ([4], "bar 4"),
        ([4, 7], "bars 4 and 7"),
        ([1, 2, 3, 4, 5, 6], "bars 1, 2, 3, 4, 5 and 6"),
        ([1, 2, 3, 4, 5, 6, 7], "bars 1, 2, 3, 4, 5, 6 and 1 more"),
        (list(range(1, 15)), "bars 1, 2, 3, 4, 5, 6 and 8 more"),
    ],
)
def test_bars_are_named_as_people_say_them(numbers: list[int], named: str) -> None:
    bars = tuple(BarLoss(number - 1, number, 1.0, 2.0, 3, 1) for number in numbers)
    assert Advice(bars, "").named == named


def test_a_line_that_lost_many_notes_names_three(hand: Conversion) -> None:
    tune = [note.id for note in hand.song.notes if note.part == 0]
    entries = [
        entry._replace(outcome="dropped", reasons=("voices-full",), spans=())
        if entry.note in tune
        else entry
        for entry in hand.reduction.ledger.entries
    ]
    one_bar = replace(hand.grid, bars=(hand.grid.bars[0]._replace(steps=16),))
    ledger = replace(hand.reduction.ledger, entries=tuple(entries))
    lost = replace(hand, grid=one_bar, reduction=replace(hand.reduction, ledger=ledger))
    (only,) = worst_bars(lost)
    assert re.search(
        r"the tune loses G4 on beat 1, G4 on beat 3, G4 on beat 4 and 1 more$", only.sentence
    )
