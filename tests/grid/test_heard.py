"""Bars that are heard: the network, the search, and what becomes of them."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise, product
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.engine import load_engine
from arranger.grid import heard_bars, plan_grid
from arranger.grid.attacks import find_attacks
from arranger.grid.bars.metre_names import PLAIN, named_metre
from arranger.grid.bars.metres import with_bars
from arranger.grid.track.evidence import COLUMNS, find_evidence
from arranger.grid.track.networks.bars_heard import (
    BEAT_LENGTHS,
    CHANNELS,
    SLOT_LENGTHS,
    hear_lines,
    likeliest_bars,
)
from arranger.grid.track.networks.frames import frames_of
from arranger.grid.track.networks.network import ConvolutionBlock, Network, load, network_odds
from arranger.settings import GridSettings
from arranger.song.time import timed_columns
from tests.grid.songs import TICKS, song_of

if TYPE_CHECKING:
    from arranger.grid import Grid
    from arranger.song.model import Song

ENGINE = load_engine("twin-phase")


def test_the_network_is_what_its_sums_say() -> None:
    random = np.random.default_rng(1)

    def some(*shape: int) -> np.ndarray:
        return random.normal(size=shape).astype(np.float32)

    blocks = tuple(ConvolutionBlock(some(5, 3, 3), some(3), some(3, 3), some(3)) for _ in range(3))
    network = Network(some(5, 4, 3), some(3), blocks, some(3, 2), some(2))
    frames = some(7, 4)

    def convolved(rows: list[np.ndarray], taps: np.ndarray, apart: int) -> list[np.ndarray]:
        return [
            sum(
                (rows[at + (tap - 2) * apart] @ taps[tap])
                for tap in range(5)
                if 0 <= at + (tap - 2) * apart < len(rows)
            )
            for at in range(len(rows))
        ]

    rows = [
        np.maximum(row + network.first_bias, 0) for row in convolved(list(frames), network.first, 1)
    ]
    for block, apart in zip(blocks, (1, 2, 4), strict=True):
        heard = [np.maximum(row + block.bias, 0) for row in convolved(rows, block.taps, apart)]
        rows = [row + h @ block.mix + block.mix_bias for row, h in zip(rows, heard, strict=True)]
    plain = [np.maximum(row, 0) @ network.last + network.last_bias for row in rows]
    assert network_odds(network, frames) == pytest.approx(np.array(plain), rel=1e-3, abs=1e-3)


def test_the_packaged_network_hears_frames_as_they_are_made() -> None:
    network = load("bars.npz")
    assert network.first.shape[:2] == (5, CHANNELS)
    assert network_odds(network, np.zeros((40, CHANNELS), np.float32)).shape == (40, 2)


def test_an_attack_between_two_frames_is_shared_by_nearness() -> None:
    song = song_of([(0, 1, 60), (1, 2, 67), (3, 1, 60)], [(1, 1, 38)], drums=frozenset({1}))
    notes = timed_columns(song)
    attacks = find_attacks(notes)
    evidence = find_evidence(notes, attacks)
    starts = notes.onset / TICKS
    at = np.array([0.0, 1.25, 3.0])
    frames = frames_of(notes, attacks, evidence, at, (starts, starts + 1), 6, 0.5)
    begin = len(COLUMNS) + 5
    assert frames[1:3, begin + 7].tolist() == pytest.approx([0.75 * np.log(2), 0.25 * np.log(2)])
    assert frames[1:3, begin - 2].tolist() == pytest.approx([0.75 * 0.75, 0.25 * 0.75])
    assert (frames[:, begin + 12] > 0).tolist() == [True, False, False, True, False, False]
    assert (frames[:, begin + 19] > 0).tolist() == [False, True, False, False, False, False]
    assert set(frames[:, -1].tolist()) == {0.5}


@pytest.mark.parametrize("seed", range(6))
def test_no_other_bars_are_likelier(seed: int) -> None:
    odds = np.random.default_rng(seed).normal(-1.0, 9.0, 13)
    lengths = ((2, 0.5), (3, 0.0), (4, 1.0))
    costs = dict(lengths)

    def worth(start: int, sizes: tuple[int, ...]) -> float:
        places = start + np.cumsum((0, *sizes))
        if places[-1] >= len(odds):
            return -np.inf
        changes = sum(a != b for a, b in pairwise(sizes))
        paid = sum(costs[size] for size in sizes) + 8 * changes
        return float(odds[places].sum()) - paid

    best = max(
        worth(start, sizes)
        for count in range(7)
        for sizes in product(costs, repeat=count)
        for start in range(13)
    )
    found = likeliest_bars(odds, lengths)
    if found is None:
        assert best == pytest.approx(odds.max())
    else:
        assert found.score == pytest.approx(best)
        assert found.lines[0] < 4
        assert found.lines[-1] >= len(odds)
        assert set(np.diff(found.lines)) <= set(costs)


@pytest.mark.parametrize(
    ("lengths", "costs"),
    [
        (SLOT_LENGTHS, {8: 0.3, 12: 0.0, 16: 0.0, 20: 2.0, 24: 0.3}),
        (BEAT_LENGTHS, {2: 0.5, 3: 0.3, 4: 0.0, 5: 1.0, 6: 0.5, 7: 1.0}),
    ],
)
def test_bars_of_each_length_have_their_price(
    lengths: tuple[tuple[int, float], ...], costs: dict[int, float]
) -> None:
    assert len(lengths) == len(costs)
    for size, cost in costs.items():
        odds = np.full(10 * size, -9.0)
        odds[1::size] = 5.0
        found = likeliest_bars(odds, lengths)
        assert found is not None
        assert found.lines.tolist() == [*range(1, 10 * size, size), 10 * size + 1]
        assert found.score == pytest.approx(10 * 5.0 - 9 * cost)


def test_log_odds_are_at_most_five_and_nothing_begins_where_nothing_starts(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Notes on beats, of which each has four slots; the last is followed by a bar of 4/4."""
    notes = timed_columns(song_of([(beat, 1, 60) for beat in (0, 1, 2, 4, 8)]))
    for heard, at_notes, between in ((9.0, [5, 5], [-5, -0.5]), (-9.0, [-5, -5], [-5, -5])):
        monkeypatch.setattr(
            "arranger.grid.track.networks.bars_heard.network_odds",
            lambda _, frames, heard=heard: np.full((len(frames), 2), heard, np.float32),
        )
        odds = hear_lines(notes, find_attacks(notes), TICKS, 120.0)
        assert len(odds) == 8 * 4 + 16
        for slot, row in enumerate(odds.tolist()):
            assert row == (at_notes if slot in {0, 4, 8, 16, 32} else between)


def waltz(bars: int, shift: float = 0.0) -> list[list[tuple[float, float, int]]]:
    """Return a tune over bass and chords in three, ``shift`` beats late."""
    chords = ((36, 60, 64, 67), (41, 60, 65, 69), (43, 59, 65, 67), (36, 60, 64, 67))
    tune = (76, 77, 79, 72)
    rows: list[list[tuple[float, float, int]]] = [[], []]
    for bar in range(bars):
        low, *high = chords[bar % 4]
        at = 3 * bar + shift
        rows[1].append((at, 1, low))
        rows[1] += [(at + beat, 0.5, pitch) for beat in (1, 2) for pitch in high]
        rows[0] += [(at, 2, tune[bar % 4]), (at + 2, 1, tune[bar % 4] - 2 * (bar % 2))]
    return rows


@pytest.mark.parametrize("pickup", [0, 2])
def test_bars_of_a_file_that_says_none_are_heard(pickup: int) -> None:
    first = [(0, 1, 71), (1, 1, 74)][:pickup]
    tune, below = waltz(24, pickup)
    song = song_of(first + tune, below, metre_said=False)
    grid = plan_grid(song, ENGINE)
    assert {(bar.numerator, bar.denominator) for bar in grid.bars} == {(3, 4)}
    assert grid.bar_ticks[:2] == (0, (pickup or 3) * TICKS)
    assert grid.bars[0].number == (0 if pickup else 1)
    assert "the file has no bars; those of 3/4 were found by ear" in grid.remarks
    said = plan_grid(song_of(first + tune, below), ENGINE)
    assert {(bar.numerator, bar.denominator) for bar in said.bars} == {(4, 4)}


def test_too_little_music_keeps_bars_of_four() -> None:
    tune, below = waltz(3)
    song = song_of(tune, below, metre_said=False)
    notes = timed_columns(song)
    found = with_bars(song, notes, find_attacks(notes), 120.0, GridSettings())
    assert [metre[1:] for metre in found.song.metres] == [(4, 4)]
    assert not found.remarks


def test_every_length_of_bar_has_a_metre_of_that_length() -> None:
    assert all(16 * top == size * bottom for size, (top, bottom) in PLAIN.items())


@pytest.mark.parametrize("pickup", [0, 2])
def test_bars_that_the_music_contradicts_are_named_with_their_place(pickup: int) -> None:
    first = [(1, 1, 71), (2, 1, 74)][:pickup]
    tune, below = waltz(24, pickup + 1)
    song = song_of(first + tune, below)
    found = heard_bars(song, plan_grid(song, ENGINE))
    assert found is not None
    assert found.metre == (3, 4)
    assert found.pickup == pickup
    assert found.first_beat == pytest.approx((pickup + 1) * 0.5)
    assert not found.moved
    # what is told is what the options take
    for asked in (
        GridSettings(metre=found.metre, pickup=found.pickup),
        GridSettings(metre=found.metre, first_beat=found.first_beat),
    ):
        grid = plan_grid(song, ENGINE, asked)
        assert (pickup + 1) * TICKS in grid.bar_ticks
        assert {bar[3:5] for bar in grid.bars} == {(3, 4)}


def test_a_file_that_is_right_or_says_nothing_or_a_user_who_does_is_not_contradicted() -> None:
    tune, below = waltz(24)
    right = song_of(tune, below, metres=((0, 3, 4),))
    assert heard_bars(right, plan_grid(right, ENGINE)) is None
    for song, settings in (
        (song_of(tune, below, metre_said=False), GridSettings()),
        (song_of(tune, below), GridSettings(beat="track")),
        (song_of(tune, below), GridSettings(first_beat=0.5)),
        (song_of(tune, below), GridSettings(metre=(4, 4))),
        (song_of(*waltz(3)), GridSettings()),
    ):
        assert heard_bars(song, plan_grid(song, ENGINE, settings)) is None
    moved = song_of(*waltz(24, 1), metres=((0, 3, 4),))
    found = heard_bars(moved, plan_grid(moved, ENGINE))
    assert found is not None
    assert found.moved
    assert found.pickup == 0


def test_what_starts_on_stated_bars_in_both_halves_spares_the_network(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def asked(*_: object) -> None:
        message = "the network is asked"
        raise AssertionError(message)

    monkeypatch.setattr("arranger.grid.bars.disputed.hear_lines", asked)

    def struck(bars: int, first: int) -> list[tuple[float, float, int]]:
        low = [(3.0 * bar + first, 2, pitch) for bar in range(bars) for pitch in (36, 55, 60)]
        return low + [(first + beat, 0.5, 72 + beat % 3) for beat in range(3 * bars)]

    for song in (
        right := song_of(struck(24, 0), metres=((0, 3, 4),)),
        song_of(struck(12, 0) + struck(12, 37), metres=((0, 3, 4),)),
        song_of(struck(12, 1) + struck(12, 36), metres=((0, 3, 4),)),
    ):
        grid = plan_grid(song, ENGINE)
        if song is right:
            assert heard_bars(song, grid) is None
            continue
        with pytest.raises(AssertionError, match="asked"):
            heard_bars(song, grid)


def test_bars_are_contradicted_from_so_many_attacks_on(monkeypatch: pytest.MonkeyPatch) -> None:
    song, grid = _planned(song_of(*waltz(24, 1)))
    count = find_attacks(timed_columns(song)).count
    for least, there in ((count, True), (count + 1, False)):
        monkeypatch.setattr("arranger.grid.bars.disputed.FEWEST_ATTACKS", least)
        assert (heard_bars(song, grid) is not None) == there


def test_bars_of_twice_or_half_the_length_contradict_nothing() -> None:
    tune, below = waltz(24)
    doubled = song_of(tune, below, metres=((0, 6, 4),))
    assert heard_bars(doubled, plan_grid(doubled, ENGINE)) is None


def test_a_rare_metre_is_never_stated_by_accident() -> None:
    """Common practice, no source: 4/4 is what files say that nobody gave a metre."""
    tune, below = waltz(24)
    assert heard_bars(*_planned(song_of(tune, below, metres=((0, 7, 8),)))) is None
    assert heard_bars(*_planned(song_of(tune, below, metres=((0, 4, 4),)))) is not None


def _planned(song: Song) -> tuple[Song, Grid]:
    return song, plan_grid(song, ENGINE)


@pytest.mark.parametrize("size", PLAIN)
@pytest.mark.parametrize("apart", [4, 6])
def test_a_metre_is_as_long_as_its_bars_and_compound_where_its_beats_are_dotted(
    size: int, apart: int
) -> None:
    """In slots, of which a quarter note has four; beats are so many slots apart."""
    odds = np.where(np.arange(4 * size) % apart, -1.0, 1.0)
    numerator, denominator = named_metre(size, np.arange(0, 4 * size, size), odds)
    assert Fraction(numerator, denominator) == Fraction(size, 16)
    dotted = apart == 6 and size in (12, 24)
    assert (denominator == 8 and numerator in (6, 12)) == dotted
