"""What isn't sure of beat and bars is told first, with options that choose the other readings."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger import convert
from arranger.engine import load_engine
from arranger.grid import Doubt, OtherReading, plan_grid
from arranger.grid.doubts import bars_doubt, beat_doubt
from arranger.grid.track.beat import TrackedBeat
from arranger.grid.track.beats_heard import HeardSong
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


def test_a_beat_that_is_not_sure_is_doubted_with_its_rivals() -> None:
    beats = np.arange(0.0, 30.0, 0.5)
    rival_beats = (
        Rival(60.0, False, beats[::2], 0.2),
        Rival(120.0, True, beats + 0.25, 0.1),
    )
    heard = HeardSong(np.zeros((9, 2)), 0.0, np.zeros(6), 0.0)
    beat = TrackedBeat(beats, 0.7, rival_beats, np.full(60, 0.7), heard)
    assert beat_doubt(beat, 1.5) == Doubt(
        "the beat of 120 a minute was found by ear",
        0.7,
        (
            OtherReading("half as fast", "--tempo 60"),
            OtherReading("moved by part of a beat", "--first-beat 1.25"),
        ),
    )
    assert beat_doubt(beat._replace(sure=0.9), 1.5) is None


def test_bars_that_suit_nearly_as_well_are_named() -> None:
    seconds = np.arange(0.0, 30.0, 0.5)
    odds = np.full(60, -2.0)
    odds[1::4] = 4.0
    lines = np.arange(1.0, 60.0, 4.0)
    assert bars_doubt(odds, lines, seconds) is None
    odds[1::4] = 0.2
    doubt = bars_doubt(odds, lines, seconds)
    assert doubt is not None
    assert len(doubt.others) == 2
    odds[1::4] = 4.0
    odds[3::4] = 3.9
    doubt = bars_doubt(odds, lines, seconds)
    assert doubt is not None
    assert doubt.others == (
        OtherReading("the same from another beat", "--first-beat 1.50"),
        OtherReading("bars of 2/4", "--metre 2/4 --first-beat 0.50"),
    )


def told(song: Song, settings: Settings) -> list[str]:
    return [line.text for line in brief_lines(summary(convert(song, ENGINE, settings)))]


def test_bars_that_the_file_states_wrongly_are_told_first_and_the_option_has_them() -> None:
    song = song_of([(0, 1, 71)], *waltz(24, 1))
    first, second, *_ = told(song, Settings())
    assert first.startswith("doubt: the file states 4/4, but the music goes in 3/4; ")
    option = (first + second).partition("; ")[2].partition(": ")[0].replace("   ", "")
    assert option == "--metre 3/4 --pickup 1"
    words = {"metre": "3/4", "pickup": "1"}
    as_heard = convert(song, ENGINE, build_settings(words))
    assert {(bar.numerator, bar.denominator) for bar in as_heard.grid.bars} == {(3, 4)}
    assert as_heard.grid.bar_ticks[1] == 480
    assert not summary(as_heard).doubts
    found = json.loads(summary(convert(song, ENGINE, Settings())).json())["doubts"]
    assert found[0]["others"] == [{"what": "as the music goes", "option": option}]


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
