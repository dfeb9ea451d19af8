"""What isn't sure of beat and bars is told first, with options that choose the other readings."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger import convert
from arranger.bars import parse_metre
from arranger.engine import load_engine
from arranger.grid import Doubt, OtherReading, heard_bars, plan_grid
from arranger.grid.bars.doubts import SURE_BARS, bars_doubt, beat_doubt
from arranger.grid.track.beat import TrackedBeat
from arranger.grid.track.networks.beats_heard import HeardSong
from arranger.grid.track.readings import Reading
from arranger.grid.track.rivals import Rival, rivals
from arranger.options import build_settings
from arranger.report import summary
from arranger.report.summaries.brief import brief_lines
from arranger.settings import GridSettings, Settings
from tests.benchmarks.human import play
from tests.grid.songs import song_of
from tests.grid.test_heard import waltz

if TYPE_CHECKING:
    from arranger.song.model import Song

ENGINE = load_engine("twin-phase")


def reading(level: float, offset: float = 0.0) -> Reading:
    beats = np.arange(0.5 * offset, 29.5, 0.5 * level)
    return Reading("best", beats, None, np.zeros(1))


def test_readings_with_the_same_beats_are_sure_together() -> None:
    found = [reading(1.0), reading(1.0, 0.04), reading(1.0, 0.5), reading(2.0), reading(2.0, 1.0)]
    sure, others = rivals(found, np.array([0.4, 0.1, 0.15, 0.2, 0.15]), 0)
    assert sure == pytest.approx(0.5)
    assert [(other.bpm, other.moved) for other in others] == [(60.0, False), (120.0, True)]
    assert [other.likelihood for other in others] == pytest.approx([0.2, 0.15])
    assert rivals(found[:2], np.array([0.7, 0.3]), 0) == (pytest.approx(1.0), ())


@pytest.mark.parametrize(
    ("offset", "same"),
    [(0.125, True), (0.149, True), (0.151, False), (-0.149, True), (-0.25, False)],
)
def test_beats_a_seventh_of_one_away_are_others(offset: float, same: bool) -> None:
    (other,) = rivals([reading(1.0), reading(1.0, offset)], np.array([0.7, 0.3]), 0)[1] or (None,)
    assert (other is None) == same
    assert other is None or other.moved


def test_readings_of_nearly_a_tempo_are_of_one_level() -> None:
    """Their logarithms are up to 0.12 apart; beats of others are other beats wherever they stand."""
    for level, moved in ((np.exp(0.119), True), (np.exp(0.121), False)):
        (other,) = rivals([reading(1.0, 0.5), reading(level)], np.array([0.7, 0.3]), 0)[1]
        assert other.moved == moved
        assert other.bpm == pytest.approx(120 / level)
    apart = [reading(1.0)._replace(beats=beats) for beats in (np.arange(9.0), 20 + np.arange(9.0))]
    assert rivals(apart, np.array([0.7, 0.3]), 0) == (pytest.approx(1.0), ())


def test_two_rivals_are_told_of_the_four_likeliest() -> None:
    levels = [1.0, 1.3, 1.7, 2.2, 2.9, 3.8, 3.8]
    found = [reading(level) for level in levels]
    likelihood = np.array([0.3, 0.15, 0.14, 0.13, 0.11, 0.1, 0.07])
    sure, others = rivals(found, likelihood, 0)
    assert sure == pytest.approx(0.3)
    # the fifth and last would come to more together, but is the fifth
    assert [other.likelihood for other in others] == pytest.approx([0.15, 0.14])
    assert [other.bpm for other in others] == pytest.approx([120 / 1.3, 120 / 1.7])
    sure, others = rivals(found[:5], np.array([0.3, 0.15, 0.14, 0.2, 0.21]), 3)
    assert (sure, [other.likelihood for other in others]) == (0.2, [0.3, 0.21])


@pytest.mark.parametrize(
    ("tempo", "what"),
    [
        (1 / 3, "a third as fast"),
        (1 / 2, "half as fast"),
        (2 / 3, "two thirds as fast"),
        (3 / 2, "half as fast again"),
        (2, "twice as fast"),
        (3, "three times as fast"),
    ],
)
def test_a_rival_tempo_is_named_by_its_level(tempo: float, what: str) -> None:
    beat = tracked(0.5)
    for off in (-0.119, 0.119):
        rival = Rival(tempo * 120 * float(np.exp(off)), False, beat.seconds, 0.1)
        doubt = beat_doubt(beat._replace(others=(rival,)), 0.0)
        assert doubt is not None
        assert doubt.others == (OtherReading(what, f"--tempo {rival.bpm:.4g}"),)
    far = Rival(tempo * 120 * float(np.exp(0.121)), False, beat.seconds, 0.1)
    doubt = beat_doubt(beat._replace(others=(far,)), 0.0)
    assert doubt is not None
    assert doubt.others[0].what == "another tempo"


def test_a_beat_that_is_not_sure_is_doubted_with_its_rivals() -> None:
    beats = np.arange(0.0, 30.0, 0.5)
    rival_beats = (
        Rival(60.0, False, beats[::2], 0.2),
        Rival(120.0, True, beats + 0.25, 0.1),
    )
    heard = HeardSong(np.zeros((9, 2)), 0.0, np.zeros(6), 0.0)
    beat = TrackedBeat(beats, 0.7, rival_beats, np.full(60, 0.7), heard)
    assert beat_doubt(beat, 1.5) == Doubt(
        "beat",
        "the beat of 120 a minute was found by ear",
        0.7,
        (
            OtherReading("half as fast", "--tempo 60"),
            OtherReading("moved by part of a beat", "--first-beat 1.25"),
        ),
    )
    assert beat_doubt(beat._replace(sure=0.9), 1.5) is None


def tracked(sure: float) -> TrackedBeat:
    beats = np.arange(0.0, 30.0, 0.5)
    heard = HeardSong(np.zeros((9, 2)), 0.0, np.zeros(6), 0.0)
    return TrackedBeat(beats, sure, (), np.full(60, sure), heard)


def test_bars_that_are_not_sure_are_told_with_others_that_would_be_next() -> None:
    odds = np.full(60, -2.0)
    odds[1::4] = 4.0
    lines = np.arange(1, 65, 4)
    assert bars_doubt(odds, lines, tracked(0.95), 1.0, said=False) is None
    assert bars_doubt(odds, lines, tracked(0.95), 1.0, said=True) is None
    odds[1::4], odds[3::4] = 1.2, 1.1
    moved = OtherReading("the same from another beat", "--first-beat 1.50")
    others = (OtherReading("bars of 2/4", "--metre 2/4 --first-beat 0.50"), moved)
    doubt = bars_doubt(odds, lines, tracked(0.95), 1.0, said=False)
    assert doubt is not None
    assert doubt.sure is not None
    assert doubt.sure < SURE_BARS
    assert (doubt.what, doubt.others) == ("bars of 4/4 were found by ear", others)
    less = bars_doubt(odds, lines, tracked(0.6), 1.0, said=False)
    assert less is not None
    assert less.sure is not None
    assert less.sure < doubt.sure
    dotted = bars_doubt(odds, lines, tracked(0.95), 1.5, said=False)
    assert dotted is not None
    assert dotted.what == "bars of 12/8 were found by ear"
    assert dotted.others[0] == OtherReading("bars of 6/8", "--metre 6/8 --first-beat 0.50")
    placed = bars_doubt(odds, lines, tracked(0.95), 1.0, said=True)
    assert placed is not None
    assert (placed.what, placed.others) == ("where bars begin was found by ear", (moved,))


def test_bars_of_a_file_that_has_none_are_told_with_options_that_have_others() -> None:
    silent = song_of([(n / 2, 0.5, 60 + n % 8) for n in range(90)], metre_said=False)
    (doubt,) = plan_grid(silent, ENGINE).doubts
    assert doubt.what == "bars of 4/4 were found by ear"
    assert doubt.sure is not None
    assert len(doubt.others) == 2
    for other in doubt.others:
        options = other.option.split()
        words = dict(zip((each[2:] for each in options[::2]), options[1::2], strict=True))
        grid = plan_grid(silent, ENGINE, build_settings(words).grid)
        metre = parse_metre(words["metre"])
        assert {(bar.numerator, bar.denominator) for bar in grid.bars} == {metre}
        assert round(Fraction(words["pickup"]) * 480) in grid.bar_ticks
        assert not grid.doubts
    assert not plan_grid(song_of(*waltz(40), metre_said=False), ENGINE).doubts


def test_where_no_bars_are_heard_no_number_is_told() -> None:
    silent = song_of([(n / 2, 0.5, 60 + n % 5) for n in range(90)], metre_said=False)
    what = "the file doesn't say where bars are; they are taken to be of 4/4"
    assert plan_grid(silent, ENGINE).doubts == (Doubt("bars", what, None, ()),)


def told(song: Song, settings: Settings) -> list[str]:
    return [line.text for line in brief_lines(summary(convert(song, ENGINE, settings)))]


def test_bars_that_the_file_states_wrongly_are_told_first_and_the_option_has_them() -> None:
    song = song_of([(0, 1, 71)], *waltz(24, 1))
    first, second, *_ = told(song, Settings())
    assert first.startswith("doubt: the file's bars of 4/4, sure to ")
    option = " ".join((first, second)).partition("; ")[2].partition(": ")[0].strip()
    assert option == "--metre 3/4 --pickup 1"
    words = {"metre": "3/4", "pickup": "1"}
    as_heard = convert(song, ENGINE, build_settings(words))
    assert {(bar.numerator, bar.denominator) for bar in as_heard.grid.bars} == {(3, 4)}
    assert as_heard.grid.bar_ticks[1] == 480
    assert not summary(as_heard).doubts
    now = convert(song, ENGINE, Settings())
    found = json.loads(summary(now).json())["doubts"]
    heard = heard_bars(song, now.grid)
    assert heard is not None
    assert found[0]["about"] == "bars"
    assert found[0]["sure"] == round(100 * heard.sure)
    assert f"sure to {found[0]['sure']} %" in first
    assert found[0]["others"] == [{"what": "bars of 3/4, as the music goes", "option": option}]


def test_what_a_doubt_offers_chooses_it() -> None:
    played = play([[(n / 2, 0.5, 60 + n % 5) for n in range(120)]], 3, bpm=80)
    grid = plan_grid(played.song, ENGINE)
    assert grid.basis == "tracked"
    assert grid.doubts, "a line of equal notes says nothing of its beat"
    for other in grid.doubts[0].others:
        name, value = other.option.split()
        again = plan_grid(
            played.song, ENGINE, GridSettings(**{name[2:].replace("-", "_"): float(value)})
        )
        if name == "--tempo":
            assert 60 / np.median(np.diff(again.beats_seconds)) == pytest.approx(
                float(value), rel=0.03
            )
        else:
            assert np.abs(np.array(again.beats_seconds) - float(value)).min() < 0.05
