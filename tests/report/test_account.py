"""Bars and beats of the account against the exact arithmetic of `arranger.song.time`."""

from __future__ import annotations

import gc
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING
from weakref import ref

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.reduce.ledger import columns_of
from arranger.reduce.reasons import OUTCOMES
from arranger.report import account_of, html_page
from arranger.report.heard.hearing import asked_lines
from arranger.settings import GridSettings, Settings
from arranger.song.time import Bar, song_bars
from tests.grid.songs import song_of

if TYPE_CHECKING:
    from arranger.conversion import Conversion


def bar_and_beat(found: tuple[Bar, ...], ticks_per_beat: int, tick: int) -> tuple[int, Fraction]:
    """Return the bar number and the position in it, in beats of the metre counted from 1."""
    bar = next(bar for bar in reversed(found) if bar.start <= tick)
    return bar.number, 1 + (tick - bar.start) / Fraction(4 * ticks_per_beat, bar.denominator)


def test_bars_and_beats_by_hand(hand: Conversion) -> None:
    found = account_of(hand)
    assert found.bar == [1, 1, 1, 1, 1, 1, 1, 2, 2]
    assert found.beat == [1, 1, 1, 2, 2.5, 3, 4, 1, 2.125]
    assert found.onset_seconds == [0, 0, 0, 0.5, 0.75, 1, 1.5, 2, 3.125]
    assert found.totals() == {"notes": 9, "kept": 3, "changed": 3, "merged": 1, "dropped": 2}


@pytest.mark.parametrize("name", ["parade", "waltz"])
def test_bars_and_beats_agree_with_the_song(name: str, request: pytest.FixtureRequest) -> None:
    conversion: Conversion = request.getfixturevalue(name)
    song = conversion.song
    found = account_of(conversion)
    bars = song_bars(song)
    shift = conversion.grid.bars[0].number - 1
    for note in song.notes:
        number, beat = bar_and_beat(bars, song.ticks_per_beat, note.onset)
        assert found.bar[note.id] == number + shift
        assert found.beat[note.id] == pytest.approx(float(beat), abs=1e-3)


def test_a_note_has_the_bar_of_its_step() -> None:
    # Bars of eight quaver steps at 120 beats a minute: the first note of bar 2 comes 20 ms early.
    line = [(i / 2, 0.5, 60 + i % 7) for i in range(24)]
    line[8] = (4 - 0.04, 0.5, 61)
    song = song_of(line)
    found = account_of(convert(song, load_engine("twin-phase"), Settings()))
    grid = convert(song, load_engine("twin-phase"), Settings()).grid
    assert grid.onset_steps[8] == 8 * int(Fraction(1, 2) / grid.step_beats)
    assert (found.bar[8], found.beat[8]) == (2, 1.0)
    assert found.bar_index[8] == 1
    assert (found.bar[7], found.beat[7]) == (1, 4.5)


@given(
    st.lists(st.tuples(st.floats(0, 24), st.sampled_from([0.25, 1.0])), min_size=1, max_size=40),
    st.sampled_from([Fraction(1, 2), Fraction(1, 3), Fraction(1, 4)]),
)
def test_bar_and_beat_never_contradict_the_step(
    written: list[tuple[float, float]], step: Fraction
) -> None:
    song = song_of(
        [(onset, length, 60 + i % 9) for i, (onset, length) in enumerate(sorted(written))]
    )
    settings = replace(Settings(), grid=GridSettings(step=step, beat="file"))
    conversion = convert(song, load_engine("twin-phase"), settings)
    found = account_of(conversion)
    for index, onset in enumerate(conversion.grid.onset_steps.tolist()):
        bar = conversion.grid.bars[int(found.bar_index[index])]
        assert bar.first_step <= onset < bar.first_step + bar.steps
        assert found.bar[index] == bar.number
        assert 1.0 <= found.beat[index] < 1.0 + bar.numerator + 1e-3


def test_notes_outside_the_passage_keep_their_bar(parade: Conversion) -> None:
    settings = replace(Settings(), grid=GridSettings(bars=(5, 8)))
    part = convert(parade.song, load_engine("twin-phase"), settings)
    whole, found = account_of(parade), account_of(part)
    assert found.bar == whole.bar
    assert found.beat == pytest.approx(whole.beat, abs=1e-3)
    inside = [index for index, bar in enumerate(found.bar) if 5 <= bar <= 8]
    assert [i for i, place in enumerate(found.bar_index.tolist()) if place >= 0] == inside
    assert set(found.bar_index[inside].tolist()) == {0, 1, 2, 3}


def test_each_conversion_has_its_own_account(hand: Conversion) -> None:
    entries = hand.reduction.ledger.entries
    gone = entries[0]._replace(outcome="dropped", reasons=("voices-full",), spans=())
    ledger = replace(hand.reduction.ledger, columns=columns_of((gone, *entries[1:])))
    other = replace(hand, reduction=replace(hand.reduction, ledger=ledger))
    before = account_of(hand).outcome.tolist()
    assert account_of(other).outcome.tolist() == [list(OUTCOMES).index("dropped"), *before[1:]]
    assert account_of(hand).outcome.tolist() == before


def test_outputs_share_what_they_know_of_a_conversion_and_keep_none_alive(hand: Conversion) -> None:
    other = replace(hand)
    assert account_of(hand) is not account_of(other)
    assert account_of(hand) is account_of(hand), "though another was asked for between"
    html_page(other)
    gone = ref(other)
    del other
    gc.collect()
    assert gone() is None


def test_what_is_shared_cannot_be_changed(hand: Conversion) -> None:
    found = account_of(hand)
    for column in (found.outcome, found.decided, found.bar_index, asked_lines(hand).line):
        with pytest.raises(ValueError, match="read-only"):
            column[0] = 0
