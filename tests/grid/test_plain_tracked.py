"""The tracked beat on the song's time: scores, covering beats, positions and limits, by plain rules."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import Any

import numpy as np
import pytest

from arranger.engine import load_engine
from arranger.errors import LimitError
from arranger.grid import plan_grid, tracked
from arranger.grid.attacks import find_attacks
from arranger.grid.bars.doubts import bars_doubt
from arranger.grid.onbeat import follows_own_beat
from arranger.grid.timeline import check_length, file_timeline
from arranger.grid.track import beat
from arranger.grid.track.beat import FileBeat, all_readings, likelihoods, track_beat
from arranger.grid.track.evidence import find_evidence
from arranger.grid.track.feature_weights import weights_of
from arranger.grid.track.networks.beat_frames import FRAMES_A_SECOND
from arranger.grid.track.networks.beats_heard import HeardSong, hear_song
from arranger.grid.track.phase import PHASE_FEATURES, file_phase, phase_features
from arranger.grid.track.readings import FEATURES, RATIOS, Reading, readings_of
from arranger.grid.track.rivals import Rival
from arranger.grid.track.sureness import sureness
from arranger.settings import GridSettings
from arranger.song.model import MetreChange, TempoChange
from arranger.song.time import seconds_at, ticks_at, timed_columns
from tests.benchmarks.human import play
from tests.grid.songs import TICKS, song_of
from tests.grid.test_track import ballad

ENGINE = load_engine("twin-phase")
PLAYED = play(ballad(8), 3, bpm=90, jitter_seconds=0.02, drift=0.02)


def reading(period: float, kind: str = "best", start: float = 0.0, **features: float) -> Reading:
    row = np.array([features.get(name, 0.0) for name in FEATURES])
    return Reading(kind, start + period * np.arange(20), None, row)


def test_readings_are_likely_by_their_features_and_what_the_file_says() -> None:
    weights = dict(zip(FEATURES, weights_of("reading", FEATURES), strict=True))
    beats = 0.5 * np.arange(10)

    def ahead(one: Reading, kept: bool | None = None, stated: bool = True) -> float:
        """Return by how much a reading is ahead of one of a strange tempo, as a logarithm."""
        said = None if kept is None else FileBeat(seconds=beats, kept=kept, stated=stated)
        both = likelihoods([one, reading(2.0)], said)
        assert both.sum() == pytest.approx(1.0)
        return float(np.log(both[0] / both[1]))

    some = {"bars": 0.5, "odds": 2.0, "first": 1.0}
    own = sum(weights[name] * value for name, value in some.items())
    assert ahead(reading(0.5, **some)) == pytest.approx(own)
    # periods whose logarithms are nearer than 0.12 are of one level
    for period, near in (
        (0.5, 1),
        (0.5 * math.exp(0.119), 1),
        (0.5 * math.exp(0.121), 0),
        (0.443, 0),
    ):
        assert ahead(reading(period), False) == pytest.approx(near)
    assert ahead(reading(0.5), False, stated=False) == pytest.approx(0)
    assert ahead(reading(0.5, "file"), True) == pytest.approx(8)
    assert ahead(reading(0.5), True) == pytest.approx(0)


@pytest.mark.parametrize(
    ("first", "last", "begin", "end"),
    [
        (2.0, 5.0, 2.0, 6.0),
        (1.9, 5.0, 2.0, 6.0),
        (1.8, 5.0, 2.0, 6.0),
        (1.7, 5.0, 1.0, 6.0),
        (0.9, 5.0, 1.0, 6.0),
        (2.1, 5.1, 2.0, 7.0),
        (2.87, 4.9, 2.0, 6.0),
        (2.89, 4.9, 3.0, 6.0),
        (2.0, 9.5, 2.0, 11.0),
        (-1.5, 5.0, -2.0, 6.0),
    ],
)
def test_beats_reach_from_the_first_onset_to_beyond_the_last_end(
    first: float, last: float, begin: float, end: float
) -> None:
    """Beats at 2 to 6 s; an onset up to 0.12 of a beat early belongs to the beat after it."""
    for beats in (0.5, 1.0, 2.0):  # however long they are
        found = beat._covering(beats * np.arange(2.0, 7.0), beats * first, beats * last)
        assert (found[0], found[-1]) == pytest.approx((beats * begin, beats * end))
        assert np.diff(found) == pytest.approx(beats)


def test_beyond_both_ends_beats_go_on_as_the_outermost_eight_do() -> None:
    """Four of one second, then of two: half way between, as long as no ninth is asked."""
    beats = np.append(0.0, np.cumsum([1, 1, 1, 1, 2, 2, 2, 2, 2]))
    assert beat._covering(beats, -3.0, 4.0)[:3].tolist() == [-3.0, -1.5, 0.0]
    late = 15.0 - beats[::-1]
    assert beat._covering(late, 0.0, 17.9)[-3:].tolist() == [16.5, 18.0, 19.5]
    still = beat._covering(np.zeros(12), -0.16, 0.16)
    assert still[[0, 1, -2, -1]] == pytest.approx([-0.2, -0.1, 0.2, 0.3]), "a tenth of a second"


def test_the_files_beat_is_moved_to_where_most_is_heard() -> None:
    """Half a beat of half a second on: from the first frame to two seconds before the last."""
    odds = np.full((500, 2), -2.0)
    odds[13::25, 0] = 3.0
    heard = HeardSong(odds, 1.0, np.zeros(6), 0.0)
    for count, first, last in ((40, 1.25, 8.75), (10, 1.25, 4.25)):
        said = FileBeat(seconds=0.5 * np.arange(count), kept=True, stated=True)
        found = beat._file_reading(heard, 8.0, said)
        assert found is not None
        assert found.kind == "file"
        assert found.beats == pytest.approx(np.arange(first, last + 0.1, 0.5))
        assert found.features[0] == pytest.approx(3.0 * len(found.beats) / 8.0)
    for count, there in ((5, True), (4, False)):  # four beats between them, or three
        said = FileBeat(seconds=np.arange(count) - 0.25, kept=True, stated=True)
        found = beat._file_reading(heard._replace(first=0.0), 8.0, said)
        assert (found is not None) == there


def test_beats_are_smoothed_as_stiffly_as_loses_no_more_than_a_twenty_fifth_of_the_odds(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = []

    def smooth(_beats: Any, _seconds: Any, _strength: Any, stiffness: float) -> Any:
        asked.append(stiffness)
        return np.array([stiffness])

    class Heard:
        def __init__(self, *left: float) -> None:
            self.left = dict(zip((30.0, 1.0, 0.1), left, strict=True))

        def beat_odds(self, beats: Any) -> Any:
            return np.array([20.0, -5.0] if len(beats) == 2 else [self.left[float(beats[0])]])

    monkeypatch.setattr(beat, "smooth_beats", smooth)
    beats, evidence = (
        np.array([0.0, 1.0]),
        find_evidence(notes := timed_columns(PLAYED.song), find_attacks(notes)),
    )
    for left, stiffness in (
        ((14.01, 99, 99), 30.0),
        ((13.99, 14.01, 99), 1.0),
        ((13.99, 13.99, 14.01), 0.1),
    ):
        assert beat._smoothed(beats, evidence, Heard(*left)).tolist() == [stiffness]
    assert beat._smoothed(beats, evidence, Heard(13, 13, 13)) is beats
    assert asked[-3:] == [30.0, 1.0, 0.1]


def test_a_tempo_that_is_asked_for_may_go_from_a_quarter_quicker_to_slower_by_three_fifths(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """If the best of these is of about that tempo; else it goes by an eighth either way."""
    asked: list[tuple[float, float]] = []
    first = reading(1.0)

    def found(_heard: Any, _span: float, shortest: float, longest: float, _first: Any) -> Any:
        asked.append((shortest, longest))
        return [first, reading(1.1, "half"), reading(1.2, "double")]

    monkeypatch.setattr(beat, "readings_of", found)
    heard = HeardSong(np.zeros((500, 2)), 0.0, np.zeros(6), 0.0)
    near = all_readings(heard, 9.0, None, GridSettings(tempo=60.0))
    assert [each.period for each in near] == pytest.approx([1.0, 1.1])
    assert asked == [(pytest.approx(0.8), pytest.approx(1.6))]
    first = reading(1.2)
    assert len(all_readings(heard, 9.0, None, GridSettings(tempo=60.0))) == 3
    assert asked[1:] == [asked[0], (pytest.approx(math.exp(-0.12)), pytest.approx(math.exp(0.12)))]
    own = FileBeat(seconds=0.5 * np.arange(20), kept=True, stated=True)
    for tempo, there in ((120 * math.exp(0.119), True), (120 * math.exp(0.121), False)):
        kinds = [each.kind for each in all_readings(heard, 9.0, own, GridSettings(tempo=tempo))]
        assert ("file" in kinds) == there
    assert all_readings(heard, 9.0, None, GridSettings())[0] is first
    assert asked[-1] == (0.26, 1.75)


def test_a_first_beat_leaves_the_readings_that_have_a_beat_within_a_fifth_of_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    heard = HeardSong(np.zeros((500, 2)), 0.0, np.zeros(6), 0.0)
    for starts, left in (((0.19, 0.21, -0.19), (0.19, -0.19)), ((0.21, 0.5), (0.21, 0.5))):
        given = [reading(2.0, start=2 * start) for start in starts]
        monkeypatch.setattr(beat, "readings_of", lambda *_, given=given: list(given))
        found = all_readings(heard, 9.0, None, GridSettings(first_beat=4.0))
        assert [each.beats[0] / 2 for each in found] == pytest.approx(left)


def test_what_a_beats_sureness_leaves_is_shared_by_the_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    notes = timed_columns(PLAYED.song)
    others = tuple(Rival(60.0, False, np.zeros(1), share) for share in (0.3, 0.06))
    monkeypatch.setattr(beat, "rivals", lambda *_: (0.6, others))
    found = track_beat(notes, find_attacks(notes), None, GridSettings())
    assert found is not None
    assert found.each_sure.tolist() == sureness(found.heard, found.seconds, 0.6).tolist()
    left = (1 - found.sure) / 0.4
    assert [each.likelihood for each in found.others] == pytest.approx([0.3 * left, 0.06 * left])
    monkeypatch.setattr(beat, "rivals", lambda *_: (1.0, ()))
    assert track_beat(notes, find_attacks(notes), None, GridSettings()) is not None


def test_what_the_user_says_leaves_the_readings_that_suit() -> None:
    notes = timed_columns(PLAYED.song)
    attacks = find_attacks(notes)
    evidence = find_evidence(notes, attacks)
    heard = hear_song(notes, attacks, evidence)
    span = float(np.ptp(evidence.seconds))
    said = FileBeat(seconds=0.5 * np.arange(80), kept=True, stated=True)

    def found(**asked: float) -> list[Reading]:
        return all_readings(heard, span, said, GridSettings(**asked))

    every = found()
    assert [each.kind for each in every][:1] + [each.kind for each in every][-1:] == [
        "best",
        "file",
    ]
    assert {"half", "double", "shifted"} <= {each.kind for each in every}
    assert every[0].period == pytest.approx(60 / 90, rel=0.05)
    for each in every:
        assert 0.26 <= each.period <= 1.75
        assert np.all(np.diff(each.beats) > 0)
    for each in found(tempo=60.0):
        assert math.exp(-0.13) <= each.period <= math.exp(0.13)
    for first in (3.0, 3.2, 3.4):
        for each in found(first_beat=first):
            assert np.abs(each.beats - first).min() < 0.2 * each.period


def test_too_little_gives_no_beat() -> None:
    def found(*onsets: float) -> object:
        notes = timed_columns(song_of([(onset, 0.1, 60) for onset in onsets]))
        return track_beat(notes, find_attacks(notes), None, GridSettings())

    assert found(*range(7)) is None
    assert found(*range(8)) is not None
    # 3.9 and 4.1 beats of half a second
    assert found(*(n * 3.9 / 11 for n in range(12))) is None
    assert found(*(n * 4.1 / 11 for n in range(12))) is not None
    assert found(*(10 + n * 3.9 / 11 for n in range(12))) is None


def test_a_beat_is_as_sure_as_its_beats_are_from_the_first_attack_to_the_last() -> None:
    """One note long before the others, and the last one held."""
    onsets = [0.0, *np.arange(6.0, 18.0, 0.5), 18.0]
    lengths = [0.1] * (len(onsets) - 1) + [8.0]
    song = song_of([(at, length, 60) for at, length in zip(onsets, lengths, strict=True)])
    notes = timed_columns(song)
    found = track_beat(notes, find_attacks(notes), None, GridSettings())
    assert found is not None
    first, last = notes.onset_seconds.min(), notes.onset_seconds.max()
    inside = (found.seconds > first - 0.1) & (found.seconds < last + 0.1)
    assert 0 < np.abs(found.seconds[inside][0] - first) < 0.1
    assert found.sure == pytest.approx(found.each_sure[inside].mean())
    assert found.each_sure[inside].mean() != pytest.approx(found.each_sure.mean())


def test_other_tempos_are_what_they_are_called() -> None:
    tempos = {
        "half": Fraction(1, 2), "double": 2, "two thirds": Fraction(2, 3), "a third": Fraction(1, 3),
        "three halves": Fraction(3, 2), "three times": 3, "three quarters": Fraction(3, 4),
        "four thirds": Fraction(4, 3),
    }  # fmt: skip
    assert pytest.approx({name: 1 / tempo for name, tempo in tempos.items()}) == RATIOS


@pytest.mark.parametrize("side", [-1, 1])
def test_a_reading_between_the_beats_keeps_a_fifth_of_one_off_them(side: int) -> None:
    """Much is heard a fifth after (or before) each beat of half a second, a little halfway."""
    period = FRAMES_A_SECOND // 2
    odds = np.full((40 * period, 2), -2.0)
    for away, heard in ((0, 4.0), (side * period // 5, 3.0), (period // 2, 1.0)):
        odds[period + away :: period, 0] = heard
    heard = HeardSong(odds, 0.0, np.zeros(6), 0.0)
    found = {each.kind: each for each in readings_of(heard, 20.0, 0.3, 1.0)}
    best, shifted = (
        found[kind].beats[1:-1] * FRAMES_A_SECOND % period for kind in ("best", "shifted")
    )
    assert np.minimum(best, period - best).max() < 2
    assert np.abs(shifted - period // 2).max() < 2


# Where the file's beat and the music's lie


def test_the_phase_of_a_file_is_where_its_evidence_scores_best() -> None:
    random = Random(1)
    phases = set()
    for shift in (0, 0.25, 1 / 3, 0.5, 2 / 3, 0.75):
        parts = [[(on + shift, length, pitch) for on, length, pitch in part] for part in ballad(6)]
        song = song_of(*parts, bpm=random.choice((90, 140)))
        notes = timed_columns(song)
        attacks = find_attacks(notes)
        seconds = seconds_at(song, np.arange(int(notes.end.max()) // TICKS + 2) * TICKS)
        weights = weights_of("phase", PHASE_FEATURES)
        scores = phase_features(seconds, find_evidence(notes, attacks)) @ weights
        best = max(range(6), key=lambda n: scores[n])
        phase, margin = file_phase(notes, attacks, seconds)
        place = (0, 1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 4)[best]
        assert phase == pytest.approx(place - round(place))
        assert margin == pytest.approx(scores[best] - scores[0])
        phases.add(round(phase, 2))
        verdict = follows_own_beat(song)
        found = tracked.beats_elsewhere(song, notes, attacks, verdict)
        held = [0.0] * 12
        for note in song.notes:
            held[round(note.onset * 12 / TICKS) % 12] += min(note.duration / TICKS, 1.0)
        light = max(held[1:]) >= 0.8 * held[0]
        assert tracked._light_beats(song, notes) == light
        looked_at = verdict.keeps_tempo and (not verdict.exact or light)
        assert found == (looked_at and abs(phase) > 0.15 and margin > (5 if verdict.exact else 2))
    assert len(phases) >= 3


def test_positions_and_times_among_beats_are_each_others_inverse() -> None:
    beats = np.array([1.0, 1.5, 2.5, 2.75])
    at = np.array([-1.0, 0.0, 0.5, 1.0, 1.25, 2.0, 2.5, 3.0, 5.0])
    times = np.array([0.5, 1.0, 1.25, 1.5, 1.75, 2.5, 2.625, 2.75, 3.25])
    assert tracked._seconds_of(beats, at) == pytest.approx(times)
    assert tracked.beats_at(beats, times) == pytest.approx(at)


def test_ticks_of_times_by_the_songs_tempos() -> None:
    tempos = (TempoChange(0, 500_000), TempoChange(960, 250_000), TempoChange(1440, 1_000_000))
    song = replace(song_of([(0, 1, 60)]), tempos=tempos)
    ticks = np.array([0, 480, 959, 960, 961, 1439, 1440, 2000])
    assert ticks_at(song, seconds_at(song, ticks)).tolist() == ticks.tolist()
    assert ticks_at(song, np.array([-0.5])).tolist() == [-480]


def test_bars_of_a_tracked_beat_and_what_they_are_called() -> None:
    """In the file's metre where it counts quarters; the bar before the first whole one is bar 0."""
    song = PLAYED.song
    for metre, beats in ((3, 3), (7, 7), (8, 4), (1, 4)):
        turned = replace(song, metres=(MetreChange(0, metre, 4),))
        grid = plan_grid(turned, ENGINE, GridSettings(beat="track", step=Fraction(1, 4)))
        assert {bar.numerator for bar in grid.bars} == {beats}
        assert {bar.steps for bar in grid.bars[1:]} == {4 * beats}
    eighths = replace(song, metres=(MetreChange(0, 3, 8),))
    grid = plan_grid(eighths, ENGINE, GridSettings(beat="track"))
    assert {(bar.numerator, bar.denominator) for bar in grid.bars} == {(4, 4)}
    for beats_late in range(4):
        first = float(PLAYED.quarter_seconds[beats_late])
        grid = plan_grid(
            song, ENGINE, GridSettings(first_beat=first, tempo=90, step=Fraction(1, 2))
        )
        steps = 2 * beats_late
        assert [(bar.number, bar.first_step) for bar in grid.bars[:2]] == (
            [(0, 0), (1, steps)] if beats_late else [(1, 0), (2, 8)]
        )
        lines = [bar.first_step / 2 for bar in grid.bars[:6]]
        seconds = seconds_at(song, list(grid.bar_ticks[:6]))
        assert seconds == pytest.approx([grid.beats_seconds[round(at)] for at in lines], abs=0.002)


def test_bars_reach_to_the_first_line_that_no_beat_stands_behind() -> None:
    """Heard ones and those of the file, of a song that ends on any beat of its last bar."""
    song, notes = PLAYED.song, timed_columns(PLAYED.song)
    whole = track_beat(notes, find_attacks(notes), None, GridSettings())
    assert whole is not None
    for said in (False, True):
        for count in range(len(whole.seconds) - 3, len(whole.seconds) + 1):
            cut = whole._replace(seconds=whole.seconds[:count])
            onsets = tracked.beats_at(cut.seconds, notes.onset_seconds)
            called = replace(song, metre_said=said)
            lines, doubt = tracked._bar_lines(called, cut, onsets, 1.0, GridSettings())
            assert lines[-2] < count - 1 <= lines[-1]
            odds, at = cut.heard.bar_odds(cut.seconds) - 2.0, lines.astype(np.int64)
            assert doubt == bars_doubt(odds, at, cut, 1.0, said=said)
            for place in ({"pickup": Fraction(1)}, {"first_beat": 3.0}):
                asked = GridSettings(**place)
                lines, doubt = tracked._bar_lines(called, cut, onsets, 1.0, asked)
                assert lines[-2] < count - 1 <= lines[-1]
                assert 0 <= lines[0] < 4
                assert set(np.diff(lines)) == {4.0}
                assert doubt is None


def test_the_metre_that_is_said_is_the_users_or_the_first_of_the_file() -> None:
    song = song_of([(0, 1, 60)], metres=((0, 3, 4), (3, 4, 4)))
    assert tracked._said_metre(song, GridSettings()) == (3, 4)
    assert tracked._said_metre(song, GridSettings(metre=(6, 8))) == (6, 8)
    for silent in (replace(song, own_beat=False), replace(song, metre_said=False)):
        assert tracked._said_metre(silent, GridSettings()) is None


@pytest.mark.parametrize(
    ("metre", "length", "said", "asked"),
    [
        ((4, 4), 1.0, 4, 4), ((7, 4), 1.0, 7, 7), ((8, 4), 1.0, None, 8), ((3, 8), 1.0, None, 1.5), ((2, 4), 1.0, 2, 2),
        ((6, 8), 1.5, 2, 2), ((12, 8), 1.5, 4, 4), ((3, 8), 1.5, None, 1), ((2, 2), 1.0, None, 4),
    ],
)  # fmt: skip
def test_beats_of_a_bar_count_where_the_file_counts_quarters_or_beats_are_dotted(
    metre: tuple[int, int], length: float, said: float | None, asked: float
) -> None:
    song = song_of([(0, 1, 60)], metres=((0, *metre),))
    assert tracked._said_size(song, GridSettings(), length) == said
    assert tracked._said_size(song, GridSettings(metre=metre), length) == asked
    assert tracked._said_size(replace(song, metre_said=False), GridSettings(), length) is None


@pytest.mark.parametrize(
    ("metre", "said", "thirds", "length"),
    [
        (None, None, 4.0, 1.5), (None, None, 3.9, 1.0), ((6, 8), None, 4.0, 1.5), ((3, 4), None, 9.0, 1.0),
        (None, (6, 8), 0.0, 1.5), (None, (6, 8), -0.1, 1.0), (None, (3, 4), 9.0, 1.0), ((6, 8), None, 3.9, 1.0),
    ],
)  # fmt: skip
def test_beats_are_dotted_where_thirds_are_heard_and_no_other_metre_is_said(
    metre: tuple[int, int] | None, said: tuple[int, int] | None, thirds: float, length: float
) -> None:
    heard = HeardSong(np.zeros((9, 2)), 0.0, np.zeros(6), thirds)
    beats = np.arange(9.0)
    found = beat.TrackedBeat(beats, 0.5, (), beats, heard)
    onsets = np.array([0, 1 / 3, 1, 5 / 3, 7 / 3 + 0.079, 3 + 1 / 2])
    settings = GridSettings(metre=said)
    for each in (onsets, 6 - onsets):  # two on one of the thirds, one on the other
        assert tracked._beat_length(found, each, said or metre, settings) == length
    for late in (
        1 / 3 + 0.081,
        1 / 2,
    ):  # another off the thirds, or on the half: no longer twice as many
        again = np.append(onsets, [late + 4, 5 + 1 / 2][: 1 + (late != 1 / 2)])
        assert tracked._beat_length(found, again, said or metre, settings) == 1.0


def test_a_song_of_too_many_beats_or_bars_is_refused_at_the_exact_limit() -> None:
    song = song_of([(0, 1, 60)], metres=((0, 1, 8), (10, 4, 4)))
    # 10 beats are 20 bars of 1/8; then 30 beats are 7.5 bars.
    check_length(song, 40 * TICKS, 40)
    with pytest.raises(LimitError, match="40 beats"):
        check_length(song, 40 * TICKS, 39)
    check_length(song, 10 * TICKS, 20)
    with pytest.raises(LimitError, match=r"10 beats \(20 bars\)"):
        check_length(song, 10 * TICKS, 19)
    late = song_of([(n, 0.5, 60 + n % 5) for n in range(12)])
    notes = timed_columns(late)
    # 5.75 s at 4 beats a second at most
    timeline = tracked.tracked_timeline(
        late, notes, find_attacks(notes), follows_own_beat(late), GridSettings()
    )
    assert timeline is not None
    assert len(timeline.beats_seconds) == timeline.bar_beats[-1] + 1
    arguments = (late, notes, find_attacks(notes), follows_own_beat(late))
    stated = tracked.file_beat(late, notes, arguments[3])
    tracked_beat = track_beat(notes, arguments[2], stated, GridSettings())
    assert tracked_beat is not None
    last_beat = len(tracked_beat.seconds) - 1
    assert timeline.bar_beats[-2] < last_beat <= timeline.bar_beats[-1], "in the last bar"
    for most, refused in ((22, True), (23, False)):
        if refused:
            with pytest.raises(LimitError, match="too long"):
                tracked.tracked_timeline(*arguments, GridSettings(max_steps=most))
        else:
            assert tracked.tracked_timeline(*arguments, GridSettings(max_steps=most)) is not None


def test_the_files_own_timeline_in_beats_and_by_the_clock() -> None:
    tempos = (TempoChange(0, 500_000), TempoChange(4 * TICKS, 1_000_000))
    song = replace(
        song_of([(1, 2, 60), (3, 3, 62), (7, 1, 64)], metres=((0, 3, 4),)), tempos=tempos
    )
    notes = timed_columns(song)
    for clock, onsets, ends, lines in (
        ("beat", [1, 3, 7], [3, 6, 8], [0, 3, 6, 9]),
        # The median tempo is 60: a beat is a second.
        ("clock", [0.5, 1.5, 5], [1.5, 4, 6], [0, 1.5, 4, 7]),
    ):
        found = file_timeline(song, notes, find_attacks(notes), GridSettings(clock=clock))
        assert found.bpm == 60
        assert found.onset_beats == pytest.approx(onsets)
        assert found.end_beats == pytest.approx(ends)
        assert found.bar_beats == pytest.approx(lines)
        assert found.bar_ticks.tolist() == [0, 3 * TICKS, 6 * TICKS, 9 * TICKS]
        assert [tuple(label) for label in found.labels] == [(1, 3, 4), (2, 3, 4), (3, 3, 4)]
    even = replace(song, tempos=(TempoChange(0, 400_000),))
    timed = timed_columns(even)
    same, by_clock = (
        file_timeline(even, timed, find_attacks(timed), GridSettings(clock=clock))
        for clock in ("beat", "clock")
    )
    for beats in ("onset_beats", "end_beats", "bar_beats"):
        assert getattr(by_clock, beats) == pytest.approx(getattr(same, beats))
    asked = file_timeline(song, notes, find_attacks(notes), GridSettings(tempo=77.0))
    assert (asked.bpm, asked.own_bpm) == (77, 60)


def test_weights_are_those_of_the_file_in_the_order_of_the_features() -> None:
    swapped = (FEATURES[1], FEATURES[0], *FEATURES[2:])
    one, other = weights_of("reading", FEATURES), weights_of("reading", swapped)
    assert one.tolist() == [other[1], other[0], *other[2:]]
    with pytest.raises(ValueError, match="read-only"):
        one[0] = 0.0


@pytest.mark.parametrize(
    ("tempos", "stated"),
    [
        ([(0, 500_000)], False),  # what a file has that says nothing
        ([(0, 500_001)], True),
        ([(0, 499_999)], True),
        ([(0, 500_000), (960, 400_000)], True),
    ],
)
def test_a_tempo_is_stated_unless_it_is_the_usual_one(
    tempos: list[tuple[int, int]], stated: bool
) -> None:
    song = song_of([(0, 1, 60), (3, 2, 62)], tempos=tuple(TempoChange(*each) for each in tempos))
    notes, verdict = timed_columns(song), follows_own_beat(song)
    for kept in (True, False):
        found = tracked.file_beat(song, notes, verdict._replace(keeps_tempo=kept))
        assert found is not None
        assert (found.stated, found.kept) == (stated, kept)
        assert found.seconds.tolist() == seconds_at(song, np.arange(7) * TICKS).tolist()
    clock = replace(song, own_beat=False)
    assert tracked.file_beat(clock, notes, verdict) is None


@pytest.mark.parametrize(
    ("exact", "phase", "margin", "elsewhere"),
    [
        (False, 0.16, 2.1, True),
        (False, -0.16, 2.1, True),
        (False, 0.14, 9.0, False),
        (False, 0.5, 1.9, False),
        (True, 0.5, 5.1, True),
        (True, 0.5, 4.9, False),
    ],
)
def test_a_beat_is_left_for_one_so_far_and_so_much_likelier(
    exact: bool, phase: float, margin: float, elsewhere: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tracked, "file_phase", lambda *_: (phase, margin))
    song = song_of([(n + 0.5, 0.5, 60 + m) for n in range(40) for m in (0, 7)])  # off all its beats
    notes, verdict = timed_columns(song), follows_own_beat(song)._replace(exact=exact)
    attacks = find_attacks(notes)

    def left(song: Any = song, verdict: Any = verdict, attacks: Any = attacks) -> bool:
        return tracked.beats_elsewhere(song, notes, attacks, verdict)

    assert left() == elsewhere
    assert not left(verdict=verdict._replace(keeps_tempo=False))
    assert not left(song=replace(song, own_beat=False))
    few = tracked.FEWEST_ATTACKS
    assert not left(attacks=replace(attacks, count=few - 1))
    assert left(attacks=replace(attacks, count=few)) == elsewhere
    line = song_of([(n + 0.5, 0.5, 60) for n in range(80)])
    assert left(song=line, attacks=find_attacks(timed_columns(line))) == (elsewhere and not exact)


def test_beats_are_counted_from_where_metres_begin() -> None:
    song = song_of([(0, 4, 60)], metres=((0, 1, 4), (0.5, 2, 4), (3, 3, 4), (9, 4, 4)))
    found = tracked.file_beat(song, timed_columns(song), follows_own_beat(song))
    assert found is not None
    assert (found.seconds * 2).tolist() == [0, 0.5, 1.5, 2.5, 3, 4, 5]


def test_beats_are_light_where_another_twelfth_of_them_holds_nearly_as_much() -> None:
    random = Random(5)
    seen = set()
    for _ in range(60):
        places = [(0, 0.8, 60), (0.5, 0.8, 60), (0.05, 0.2, 60), (0.04, 0.6, 64), (0.96, 0.2, 60)]
        chosen = [(n, random.choice(places)) for n in range(random.randrange(2, 9))]
        song = song_of([(n + at, length, pitch) for n, (at, length, pitch) in chosen])
        held = [0.0] * 12
        for note in song.notes:
            held[round(12 * note.onset / TICKS) % 12] += min(note.duration / TICKS, 1.0)
        light = max(held[1:]) >= 0.8 * held[0]
        assert tracked._light_beats(song, timed_columns(song)) == light
        seen.add(light)
    assert len(seen) == 2
    long = song_of([(0, 9, 60), (1.5, 0.81, 60)])
    assert tracked._light_beats(long, timed_columns(long)), "no note counts for more than a beat"
    barely = song_of([(0, 1, 60), (1.5, 0.8, 60)])
    assert tracked._light_beats(barely, timed_columns(barely))
