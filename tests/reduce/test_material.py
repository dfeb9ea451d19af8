"""Which passages are made of chords, and which of lines."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, product
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.grid.model import Grid, grid_bars
from arranger.reduce import Reduction, reduce
from arranger.reduce.choose.material import chords_prevail, material_of, passages
from arranger.reduce.place.placed import place
from arranger.reduce.worth.weigh import weigh
from arranger.settings import ReduceSettings
from tests.reduce.little_songs import Line, grid_of, song_of

if TYPE_CHECKING:
    from arranger.song.model import Song

ENGINE = load_engine("twin-phase")

TUNE = Line([(beat, 1, 76 + beat % 3) for beat in range(48)], "Lead", 80)
BASS = Line([(beat, 2, 36 + beat % 5) for beat in range(0, 48, 2)], "Bass", 33)


def barred(song: Song) -> Grid:
    """Return a grid of bars of four beats."""
    grid = grid_of(song)
    bars = grid_bars((number, 16, 4, 4) for number in range(1, grid.steps // 16 + 1))
    return replace(grid, bars=bars)


def chords(first: int, last: int, *, name: str = "Strings", length: float = 4) -> Line:
    """Return a triad on each beat that is a multiple of the length, from bar to bar."""
    beats = np.arange(4 * first, 4 * last, length).tolist()
    return Line([(beat, length, pitch) for beat in beats for pitch in (60, 64, 67)], name, 48)


def reduced(*lines: Line, **changes: object) -> Reduction:
    song = song_of(*lines)
    settings = replace(ReduceSettings(), **changes)  # type: ignore[arg-type]
    return reduce(song, ENGINE, barred(song), settings)


def test_passages_of_chords_are_broken_and_lines_stay() -> None:
    found = reduced(TUNE, BASS, chords(4, 12))
    assert [passage[:5] for passage in found.passages] == [
        ("tune-and-bass", 1, 4, False, 0.0),
        ("broken-chord", 5, 12, False, 1.0),
    ]
    assert found.passages[1].part == 2
    assert found.passages[0].part == -1
    assert len({pitch for pitch in found.voice2[64:128] if pitch >= 0} & {60, 64, 67}) == 3


def test_the_user_decides_otherwise() -> None:
    plain = reduced(TUNE, BASS, chords(4, 12), texture="tune-and-bass")
    assert [passage[:4] for passage in plain.passages] == [("tune-and-bass", 1, 12, True)]
    assert set(plain.voice2) & {60, 64, 67} == set()
    some = reduced(TUNE, BASS, chords(4, 12), section_textures={"7-8": "two-highest"})
    assert [passage[:4] for passage in some.passages] == [
        ("tune-and-bass", 1, 4, False),
        ("broken-chord", 5, 6, False),
        ("two-highest", 7, 8, True),
        ("broken-chord", 9, 12, False),
    ]


def test_a_bar_of_chords_is_no_passage() -> None:
    assert len(reduced(TUNE, BASS, chords(4, 7)).passages) == 1


@pytest.mark.parametrize(
    ("line", "share", "is_line"),
    [
        (chords(0, 12), 1.0, False),
        (chords(0, 12, length=1), 1.0, False),
        (Line([(4 * bar, 2, p) for bar in range(12) for p in (60, 64)], "Pad"), 0.5, False),
        (Line([(4 * bar, 4, p) for bar in range(12) for p in (60, 72)], "Pad"), 0.0, True),
        (Line([(4 * bar, 4, p) for bar in range(12) for p in (50, 57)], "Guitar"), 0.0, True),
        (Line([(4 * bar, 4, p) for bar in range(12) for p in (50, 55)], "Guitar"), 0.0, True),
        (Line([(beat, 1, 60 + beat % 7) for beat in range(48)], "Flute"), 0.0, True),
        (Line([(beat, 1.05, 60 + beat % 7) for beat in range(48)], "Flute"), 0.0, True),
    ],
    ids=["held", "struck", "half", "octaves", "fifths", "fourths", "line", "joined"],
)
def test_chords_are_counted_by_their_time(line: Line, share: float, is_line: bool) -> None:
    song = song_of(TUNE, BASS, line)
    grid = barred(song)
    weights = weigh(song, ReduceSettings())
    placed = place(song, grid, weights.roles)
    found = material_of(song, placed, weights, grid)
    assert found.shares.tolist() == [share] * len(grid.bars)
    assert found.lines.tolist()[1:] == [False, is_line]
    assert set(found.chords.key.tolist()) == ({2} if share else set())


def test_double_stops_of_a_line_are_no_chords() -> None:
    alone = [(beat, 1, 60 + beat % 7) for beat in range(48)]
    stops = [(beat, 1, 64 + beat % 7) for beat in range(12)]
    assert len(reduced(TUNE, BASS, Line([*alone, *stops], "Violin")).passages) == 1
    more = [(beat, 1, 64 + beat % 7) for beat in range(24)]
    assert len(reduced(TUNE, BASS, Line([*alone, *more], "Violin")).passages) == 2


def test_applause_is_no_chord() -> None:
    clapping = chords(0, 12, name="Applause")._replace(program=126)
    assert [passage[0] for passage in reduced(TUNE, BASS, clapping).passages] == ["tune-and-bass"]


def test_two_lines_in_two_parts_are_no_chord() -> None:
    lines = [
        Line([(beat, 1, base + beat % 7) for beat in range(48)], f"Voice {base}")
        for base in (55, 62)
    ]
    assert [passage[0] for passage in reduced(TUNE, BASS, *lines).passages] == ["tune-and-bass"]


def test_chords_are_found_as_by_a_look_at_each_step() -> None:
    """Some part of the bar has two classes at once, a fifth that is struck with its root aside."""
    random = Random(7)
    counted = 0
    for _ in range(40):
        lines = [Line([(0, 16, 90)], "Lead")]
        for number in range(3):
            notes = []
            for _ in range(random.randrange(1, 20)):
                onset, length = random.randrange(64) / 4, random.choice((0.25, 2, 4))
                pitch = random.choice((48, 52, 55, 59, 60, 67))
                notes.append((onset, min(length, 16 - onset), pitch))
            program = random.choice((0, 0, 0, 119, 120, 127))
            drum = random.random() < 0.1
            lines.append(Line(sorted(notes), ("Pad", "Bass", "")[number], program, drum=drum))
        song = song_of(*lines)
        grid = barred(song)
        weights = weigh(song, ReduceSettings())
        tune = np.array([random.choice((0.0, 0.0, 0.0, 0.4, 0.5)) for _ in song.notes])
        weights = replace(weights, tune=tune)
        placed = place(song, grid, weights.roles)
        mine = [
            note for note in song.notes
            if placed.usable[note.id] and not note.drum and tune[note.id] < 0.5
            if not 120 <= lines[note.part].program <= 127
        ]  # fmt: skip
        classes: list[list[set[int]]] = [[set() for _ in range(grid.steps)] for _ in lines]
        for note in mine:
            onset = placed.onset[note.id]
            struck = {
                n.pitch % 12 for n in mine if n.part == note.part and placed.onset[n.id] == onset
            }
            root = (note.pitch - 7) % 12
            for step in range(onset, placed.end[note.id]):
                classes[note.part][step].add(root if root in struck else note.pitch % 12)
        time = [sum(map(bool, part)) for part in classes]
        chords = [[len(here) >= 2 for here in part] for part in classes]
        together = [sum(part) for part in chords]
        often = [n for n in range(len(lines)) if together[n] and together[n] >= 0.3 * time[n]]
        shares = [
            sum(any(chords[n][step] for n in often) for step in range(bar, bar + 16)) / 16
            for bar in range(0, 64, 16)
        ]
        found = material_of(song, placed, weights, grid)
        assert found.shares.tolist() == shares
        assert set(found.chords.key.tolist()) == set(often)
        assert found.lines.tolist() == [
            weights.roles[n].role != "bass" and time[n] > 0 and together[n] <= 0.1 * time[n]
            for n in range(len(lines))
        ]
        counted += len(often)
        told = passages(np.array(["a", "a", "a", "b"]), np.array([False] * 4), found, grid)
        assert [passage[:3] for passage in told] == [("a", 1, 3), ("b", 4, 4)]
        assert [passage.chords for passage in told] == pytest.approx(
            [np.mean(shares[:3]), shares[3]]
        )
        for passage, steps in zip(told, (range(48), range(48, 64)), strict=True):
            most = {n: sum(chords[n][step] for step in steps) for n in often}
            best = max(most.values(), default=0)
            assert passage.part == next((n for n in often if best and most[n] == best), -1)
    assert counted > 40


@given(st.lists(st.sampled_from((0.0, 0.3, 0.6, 0.8, 1.0)), min_size=1, max_size=9))
def test_the_way_through_chords_and_lines_is_the_best_of_all(shares: list[float]) -> None:
    def cost(way: tuple[bool, ...]) -> float:
        changes = sum(a != b for a, b in pairwise(way))
        return 6.0 * changes - 4.0 * sum(
            s - 0.6 for s, here in zip(shares, way, strict=True) if here
        )

    best = min(map(cost, product((False, True), repeat=len(shares))))
    found = tuple(chords_prevail(np.array(shares)).tolist())
    assert cost(found) == pytest.approx(best)


def test_of_ways_that_cost_the_same_the_one_with_lines_at_the_end_and_no_change_is_taken() -> None:
    """A bar with a share of 2.1 speaks for chords with 6, what a change costs; one of -0.9 against."""
    for shares, expected in (
        ((0.6,), [False]),
        ((2.1, -0.9), [False, False]),
        ((-0.9, 5.0), [True, True]),
    ):
        assert chords_prevail(np.array(shares)).tolist() == expected
