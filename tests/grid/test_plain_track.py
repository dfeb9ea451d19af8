"""The steps of beat tracking against looking at each attack, beat and place by itself."""

from __future__ import annotations

import math
from dataclasses import replace
from random import Random
from statistics import median
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.grid.attacks import find_attacks
from arranger.grid.track.evidence import COLUMNS, Evidence, find_evidence
from arranger.grid.track.follow import Start, follow_beats
from arranger.grid.track.hypotheses import (
    FEATURES,
    PHASE_FEATURES,
    Pulse,
    phase_features,
    read_pulse,
)
from arranger.grid.track.smooth import kept_division, smooth_beats, whole_beats
from arranger.grid.track.tempo import constant_beats, likely_periods
from arranger.song.time import timed_columns
from tests.grid.songs import TICKS, song_of

if TYPE_CHECKING:
    from arranger.song.model import Song

# What speaks for a beat

SECOND = TICKS * 108 / 60
"""Ticks in a second of the songs here: a tempo at which no onset lies on the edge of a window."""


def some_song(random: Random) -> Song:
    """Return two parts and drums; nothing starts nearly together, so that every onset is an attack."""
    parts = []
    for low in (40, 60, 36):
        at, part = random.choice((0, 1)) * 1.0, []
        for _ in range(random.randrange(8, 40)):
            length = random.choice((0.02, 0.5, 1.5, 3, 5))
            pitch = random.choice((35, 36, 38)) if low == 36 else low + random.randrange(20)
            part.append((at, length, pitch))
            at += random.choice((0.125, 0.25, 0.5, 0.5, 1, 3))
        parts.append(part)
    song = song_of(*parts, bpm=108, drums=frozenset({2}))
    loud = [note._replace(loudness=random.choice((0.2, 0.6, 0.9))) for note in song.notes]
    return replace(song, notes=tuple(loud))


def evidence_by_loops(song: Song) -> list[list[float]]:
    """Return the rows of `evidence.COLUMNS` before they are made to sum up to 1."""
    second = SECOND
    ticks = sorted({note.onset for note in song.notes})
    there = [[note for note in song.notes if note.onset == tick] for tick in ticks]
    tones = [[note for note in notes if not note.drum] for notes in there]
    loud = [sum(note.loudness**2 for note in notes) for notes in there]
    lowest = [min([127, *(note.pitch for note in notes)]) for notes in tones]
    many = len(ticks)

    def around(values: list[float], at: int) -> list[float]:
        return [values[min(max(n, 0), many - 1)] for n in range(at - 16, at + 17)]

    below = [min(max((median(around(lowest, n)) - lowest[n]) / 12, 0), 2.0) for n in range(many)]
    bass, before = [0.0] * many, -1
    for n in range(many):
        if below[n] > 0.25:
            bass[n] = 1.0 if lowest[n] % 12 != before else 0.3
            before = lowest[n] % 12
    gaps = [
        (b - a) / second for a, b in zip(ticks, [*ticks[1:], ticks[-1] + second / 2], strict=True)
    ]
    return [
        [float(len(notes)) for notes in there],
        [loud[n] / (sum(around(loud, n)) / 33) for n in range(many)],
        below,
        [max([0.0, *(min(n.duration / second, 2.0) for n in notes)]) for notes in tones],
        [min(gap, 1.0) for gap in gaps],
        [novelty(song, tick / second) for tick in ticks],
        bass,
        [
            sum((1.0 if n.pitch in (35, 36) else 0.3) * n.loudness for n in notes if n.drum)
            for notes in there
        ],
    ]


def novelty(song: Song, at: float) -> float:
    """Return how unlike the pitch classes are before and after, by 0.4 and by 0.8 seconds."""
    second = SECOND
    total = 0.0
    for width in (0.4, 0.8):
        sums = []
        for begin in (at - 0.05 - width, at - 0.05):
            end = at - 0.05 if begin < at - 0.05 else at - 0.05 + width
            classes = [0.0] * 12
            for note in song.notes:
                if not note.drum and begin <= note.onset / second < end:
                    classes[note.pitch % 12] += min(max(note.duration / second, 0.05), 1.0)
            sums.append(classes)
        one, other = sums
        size = math.hypot(*one) * math.hypot(*other)
        total += 1 - (sum(a * b for a, b in zip(one, other, strict=True)) / size if size else 0)
    return total


def test_evidence_is_what_each_attack_shows_by_itself() -> None:
    random = Random(1)
    for _ in range(25):
        song = some_song(random)
        notes = timed_columns(song)
        found = find_evidence(notes, find_attacks(notes))
        wanted = evidence_by_loops(song)
        for name, given, row in zip(COLUMNS, found.columns, wanted, strict=True):
            whole = sum(row) or 1.0
            assert given == pytest.approx([value / whole for value in row], abs=1e-6), name
        counts = (0.5, 0.5, 1.0, 1.0, 0.5, 0.7, 1.0, 0.5)
        many = len(wanted[0])
        strength = [
            sum(
                count * min(row[n] / (sum(row) or 1.0) * many, 4.0)
                for count, row in zip(counts, wanted, strict=True)
            )
            for n in range(many)
        ]
        mean = sum(strength) / many
        assert found.strength == pytest.approx([value / mean for value in strength], rel=1e-4)


# Periods


def pulse(period: float, count: int, random: Random, uneven: float = 0.0) -> np.ndarray:
    return np.sort([2.0 + n * period + random.gauss(0, uneven) for n in range(count)])


@pytest.mark.parametrize("period", [0.36, 0.44, 0.6, 0.75, 1.1])
def test_the_likeliest_period_is_that_of_even_beats(period: float) -> None:
    """Of the beat and its double the one nearer to 0.6 s is likelier."""
    seconds = pulse(period, 60, Random(0))
    found = likely_periods(seconds, np.ones(60), 3)
    assert len(found) == 3
    assert found[0] == pytest.approx(period if period > 0.4 else 2 * period, abs=0.006)
    for n, one in enumerate(found):
        assert 0.33 <= one < 1.2
        assert all(abs(math.log(one / other)) > 0.08 for other in found[:n])


def test_a_period_is_worth_the_likeness_after_one_two_and_four_of_it() -> None:
    """Against the autocorrelation of the blurred pulses, attack by attack."""
    random = Random(2)
    for _ in range(6):
        seconds = np.cumsum([random.choice((0.25, 0.5, 0.5, 0.75)) for _ in range(40)])
        seconds = np.round(seconds, 2)
        strength = np.array([random.uniform(0.5, 2) for _ in seconds])
        mean = strength.sum() / (1 << int((seconds[-1] - seconds[0] + 6) / 0.01).bit_length())

        def alike(lag: float, at=seconds, weight=strength, mean=mean) -> float:
            # Two pulses, each blurred by 20 ms, are as alike as a bell of 28 ms.
            apart = at[:, None] - at[None, :] - lag
            bells = np.exp(-(apart**2) / (4 * 0.02**2)) * 0.01 / (0.04 * math.sqrt(math.pi))
            return float(weight @ bells @ weight) - mean * float(weight.sum())

        def worth(period: float, alike=alike) -> float:
            mean_of_three = sum(alike(times * period) for times in (1, 2, 4)) / 3 / alike(0)
            return mean_of_three - 0.10 * abs(math.log2(period / 0.6))

        (found,) = likely_periods(seconds, strength, 1)
        periods = np.arange(0.33, 1.2, 0.0025)
        best = max(worth(period) for period in periods)
        assert worth(found) == pytest.approx(best, abs=0.004)


@pytest.mark.parametrize("off", [-0.014, -0.004, 0.0, 0.009, 0.014])
def test_constant_beats_are_those_that_the_attacks_keep(off: float) -> None:
    random = Random(3)
    for true in (0.41, 0.77):
        seconds = pulse(true, 90, random, 0.004)
        found = constant_beats(seconds, np.ones(90), true * (1 + off))
        assert np.diff(found) == pytest.approx(true, rel=5e-4)
        nearest = np.abs(found[:, None] - [2.0 + n * true for n in range(90)]).min(axis=0)
        assert nearest.max() < 0.01
        # From before the first attack to after the last, by a beat or two.
        assert -2 * true < found[0] - seconds[0] < 0
        assert 0 < found[-1] - seconds[-1] < 2.5 * true


# Following


def followed_by_loops(
    seconds: list[float], strength: list[float], start: Start, back: float
) -> float:
    """Return the score of the best beat: see `arranger.grid.track.follow`."""
    begin = [-0.9 * (at - seconds[0]) / start.period_seconds for at in seconds]
    best: list[dict[int, tuple[float, float]]] = []
    for now, at in enumerate(seconds):
        first = next(n for n, other in enumerate(seconds) if other >= at - back)
        first = max(min(first, max(now - 6, 0)), now - 48, 0)
        here: dict[int, tuple[float, float]] = {}
        for before in range(first, now):
            for score, period in best[before].values():
                beats = max(round((at - seconds[before]) / period), 1)
                miss = (at - seconds[before]) / period - beats
                gain = score - start.miss_price * miss**2 / beats - 0.9 * beats + 0.9
                new = period * (1 + start.adapt * miss / beats)
                band = round(8 * math.log(new / start.period_seconds)) + 4
                if 0 <= band <= 8 and gain > here.get(band, (-math.inf, 0))[0]:
                    here[band] = (gain, new)
        if here.get(4, (-math.inf, 0))[0] < begin[now]:
            here[4] = (begin[now], start.period_seconds)
        best.append({band: (s + strength[now] - 0.6, p) for band, (s, p) in here.items()})
    return max(
        score - 0.9 * (seconds[-1] - at) / start.period_seconds
        for at, here in zip(seconds, best, strict=True)
        for score, _ in here.values()
    )


def test_the_beat_that_is_followed_has_the_best_score() -> None:
    random = Random(4)
    starts = (Start(0.5, 200.0, 0.15), Start(0.62, 40.0, 0.5), Start(0.3, 1000.0, 0.04))
    for song in range(12):
        at, seconds = 0.0, []
        # some get so much quicker or slower that the last bands are reached, or passed
        uneven = (0.05, 0.24, 0.26, 0.5, 0.5, 0.55, 1.9)
        drift, usual = (1.0, uneven) if song < 8 else ((0.95, 1.05)[song % 2], (0.62,))
        for n in range(30):
            seconds.append(at)
            at += (
                drift ** min(n, 9 if song < 10 else n)
                * random.choice(usual)
                * random.uniform(0.95, 1.05)
            )
        strength = [random.uniform(0.2, 2.5) for _ in seconds]
        found = follow_beats(np.array(seconds), np.array(strength), starts)
        for start, mine in zip(starts, found, strict=True):
            assert mine.score == pytest.approx(
                followed_by_loops(seconds, strength, start, 2.2 * 0.62)
            )
            assert mine.score == pytest.approx(priced(seconds, strength, start, mine))


def priced(seconds: list[float], strength: list[float], start: Start, way: object) -> float:
    """Return the score of a beat that was traced, by going along it."""
    attacks, beats = way.attacks.tolist(), way.beats.tolist()  # type: ignore[attr-defined]
    assert beats[0] == 0
    period = start.period_seconds
    score = -0.9 * (seconds[attacks[0]] - seconds[0]) / period + strength[attacks[0]] - 0.6
    for n in range(1, len(attacks)):
        passed = beats[n] - beats[n - 1]
        miss = (seconds[attacks[n]] - seconds[attacks[n - 1]]) / period - passed
        assert abs(miss) <= 0.5 or passed == 1
        score += strength[attacks[n]] - 0.6 - 0.9 * (passed - 1)
        score -= start.miss_price * miss**2 / passed
        period *= 1 + start.adapt * miss / passed
    return score - 0.9 * (seconds[-1] - seconds[attacks[-1]]) / start.period_seconds


# Smoothing


def test_beats_between_those_found_are_even_and_go_on_at_both_ends() -> None:
    """Beats 0, 1, 3 and 5 at these attacks; the song reaches a second and a half beyond either end."""
    seconds = np.array([0.0, 1.5, 2.0, 2.5, 3.1, 4.1, 5.6])
    found = whole_beats(np.array([1, 2, 4, 5]), np.array([0, 1, 3, 5]), seconds)
    inner = [1.5, 2.0, 2.55, 3.1, 3.6, 4.1]
    usual = median([0.5, 0.55, 0.55, 0.5, 0.5])
    before = [1.5 - usual * n for n in (4, 3, 2, 1)]
    after = [4.1 + usual * n for n in (1, 2, 3, 4)]
    assert found == pytest.approx([*before, *inner, *after])


def kept_by_loops(beats: list[float], weight: list[float]) -> tuple[int, float]:
    found = {}
    for division in (4, 3, 2, 6):
        turns = [2 * math.pi * division * beat for beat in beats]
        x = sum(w * math.cos(t) for w, t in zip(weight, turns, strict=True))
        y = sum(w * math.sin(t) for w, t in zip(weight, turns, strict=True))
        found[division] = math.hypot(x, y) / sum(weight)
    best = max(found, key=lambda d: found[d] + (0.05 if d == 4 else 0))
    return best, found[best]


def smoothed_by_solving(
    times: np.ndarray, seconds: np.ndarray, strength: np.ndarray, stiffness: float
) -> np.ndarray:
    """Return what minimises the sum of squares at the head of `smooth`, by a solver of its own."""
    count = len(times)
    for _ in range(4):
        at = np.interp(seconds, times, np.arange(count))
        division, _ = kept_by_loops(at.tolist(), strength.tolist())
        rows, wanted = [], []
        for place, second, strong in zip(at, seconds, strength, strict=True):
            target = round(place * division) / division
            weight = strong * math.exp(-0.5 * ((place - target) * division / 0.25) ** 2)
            left = min(max(math.floor(target), 0), count - 2)
            row = np.zeros(count)
            row[left], row[left + 1] = 1 - (target - left), target - left
            rows.append(math.sqrt(weight) * row)
            wanted.append(math.sqrt(weight) * second)
        for n in range(1, count - 1):
            row = np.zeros(count)
            row[n - 1 : n + 2] = (1, -2, 1)
            rows.append(math.sqrt(stiffness) * row)
            wanted.append(0.0)
        times = np.linalg.lstsq(np.array(rows), np.array(wanted), rcond=None)[0]
    return times


@pytest.mark.parametrize("count", [4, 5, 12])
@pytest.mark.parametrize("stiffness", [1.0, 30.0])
def test_smoothed_beats_minimise_what_they_are_said_to(count: int, stiffness: float) -> None:
    random = Random(count)
    for _ in range(5):
        beat = 0.6
        times = np.array([1 + beat * n + random.gauss(0, 0.03) for n in range(count)])
        parts = random.choice((2, 3, 4))
        seconds = np.sort(
            [1 + beat * n / parts + random.gauss(0, 0.03) for n in range(parts * (count - 1) + 1)]
        )
        strength = np.array([random.uniform(0.2, 2) for _ in seconds])
        found = smooth_beats(times, seconds, strength, stiffness)
        assert found == pytest.approx(
            smoothed_by_solving(times, seconds, strength, stiffness), abs=1e-4
        )
    assert smooth_beats(times[:3], seconds, strength, stiffness) is not None
    assert smooth_beats(times[:3], seconds, strength, stiffness).tolist() == times[:3].tolist()


def test_the_division_that_is_kept_is_that_of_the_longest_mean_vector() -> None:
    random = Random(6)
    kinds = set()
    for _ in range(60):
        parts = random.choice((1, 2, 3, 4, 6))
        beats = [random.randrange(40) / parts + random.gauss(0, 0.03) for _ in range(30)]
        weight = [random.uniform(0.1, 1) for _ in beats]
        found = kept_division(np.array(beats), np.array(weight))
        division, strength = kept_by_loops(beats, weight)
        assert found == (division, pytest.approx(strength))
        kinds.add(division)
    assert {2, 3, 4} <= kinds


# Readings


LEVELS = (1 / 3, 1 / 2, 2 / 3, 1, 4 / 3, 3 / 2, 2, 3, 4)
"""What a pulse may be taken for: a third or half of a beat, a dotted one, up to four in a bar."""


def some_evidence(random: Random) -> Evidence:
    seconds = np.cumsum([random.choice((0.1, 0.2, 0.3, 0.3, 0.6)) for _ in range(60)])
    columns = np.array([[random.random() ** 3 for _ in seconds] for _ in COLUMNS])
    return Evidence(seconds=seconds, columns=columns / columns.sum(axis=1, keepdims=True))


def density(at: np.ndarray, row: np.ndarray, place: float, seconds: float, beats: float) -> float:
    """Return a column's density at a place, repeated every so many beats; 1: even.

    Attacks stand in bins of 1/24 beat, blurred by 30 ms but by 0.03 to 0.08 of a beat.
    """
    spread = min(max(0.03 / seconds, 0.03), 0.08)

    def bell(apart: np.ndarray) -> np.ndarray:
        apart = apart % 12
        return np.exp(-0.5 * (np.minimum(apart, 12 - apart) / spread) ** 2)

    # A bell over twelve beats, in bins.
    whole = bell(np.arange(288) / 24).sum()
    stand = np.floor(at * 24 + 0.5) / 24
    turns = bell(stand[:, None] - place - np.arange(0, 12, beats)).sum(axis=1)
    return float(row @ turns) * 288 / whole / (12 / beats)


def test_a_pulse_may_stand_still() -> None:
    """As one does that is followed through long silence; warnings are errors here."""
    times = 0.45 * np.arange(40)
    times[20:23] = times[20]
    found = read_pulse(
        Pulse(times, 0.0), some_evidence(Random(7)), 0.3, 1.4, np.zeros(len(PHASE_FEATURES))
    )
    assert found
    assert all(np.isfinite(reading.features).all() for reading in found)


def test_readings_are_described_by_the_density_at_their_places() -> None:
    random = Random(7)
    for _ in range(2):
        evidence = some_evidence(random)
        beat = random.choice((0.45, 0.8))
        times = np.cumsum([beat * random.uniform(0.97, 1.03) for _ in range(40)]) - beat
        weights = np.array([random.uniform(-1, 1) for _ in PHASE_FEATURES])
        at = np.interp(evidence.seconds, times, np.arange(40))
        period = median(np.diff(times).tolist())
        found = read_pulse(Pulse(times, 0.5), evidence, 0.2, 3.0, weights)
        levels = [level for level in LEVELS if 0.2 <= period * level <= 3.0]
        assert [reading.level for reading in found] == [level for level in levels for _ in (0, 1)]
        for number, reading in enumerate(found):
            level, seconds = reading.level, period * reading.level
            assert reading.period_seconds == pytest.approx(seconds)

            def log(row: np.ndarray, place: float, at=at / level, seconds=seconds) -> float:
                return math.log(density(at, row, place, seconds, 1) + 0.05)

            scores = []
            for place in range(24):
                on = [log(row, place / 24) for row in evidence.columns]
                half = [log(row, place / 24 + 0.5) for row in evidence.columns]
                scores.append(float(weights @ [*on, *half]))
            order = sorted(range(24), key=lambda n: -scores[n])
            apart = [n for n in order if min((n - order[0]) % 24, (order[0] - n) % 24) > 3]
            place = apart[0] if number % 2 else order[0]
            assert reading.phase_score == pytest.approx(scores[place] - max(scores))
            assert reading.features == pytest.approx(
                described(evidence, times, at / level, place / 24, seconds, log), abs=1e-6
            )
            miss = at / level - place / 24
            miss -= np.rint(miss)
            near = evidence.columns[0] * np.exp(-0.5 * (miss * seconds / 0.03) ** 2)
            offset = level * (place / 24 + (near @ miss) / near.sum())
            turns = (reading.offset - offset) / level
            assert turns == pytest.approx(round(turns), abs=1e-9)
            assert 0 <= reading.offset <= level
            beats = np.arange(reading.offset, 39 + 1e-9, level)
            assert reading.beats() == pytest.approx(np.interp(beats, np.arange(40), times))
        places = phase_features(times, evidence)
        for row, place in zip(places, (0, 6, 8, 12, 16, 18), strict=True):
            wanted = [
                math.log(density(at, column, place / 24 + half, period, 1) + 0.05)
                for half in (0, 0.5)
                for column in evidence.columns
            ]
            assert row == pytest.approx(wanted, abs=1e-6)


def described(
    evidence: Evidence, times: np.ndarray, at: np.ndarray, place: float, seconds: float, log: object
) -> list[float]:
    """Return the features of a reading, by their names: see `arranger.grid.track.hypotheses`."""
    rows = dict(zip(COLUMNS, evidence.columns, strict=True))
    values: dict[str, float] = {}
    for name, row in rows.items():
        values[f"on_{name}"] = log(row, place)  # type: ignore[operator]
        values[f"half_{name}"] = log(row, place + 0.5)  # type: ignore[operator]
    for name, parts in (("quarter", (1 / 4, 3 / 4)), ("third", (1 / 3, 2 / 3))):
        both = [log(row, place + part) for row in rows.values() for part in parts]  # type: ignore[operator]
        values[name] = sum(both) / len(both)
    for name in ("notes", "low", "long", "novel", "bass"):
        beats = [
            math.log(density(at, rows[name], place + n, seconds, 12) + 0.25) for n in range(12)
        ]
        for word, group in (("two", 2), ("three", 3), ("four", 4)):
            means = [sum(beats[n::group]) / (12 / group) for n in range(group)]
            middle = sum(means) / group
            values[f"{word}_{name}"] = math.sqrt(sum((m - middle) ** 2 for m in means) / group)
    from_beat = at - place
    span = round(from_beat[-1]) - round(from_beat[0]) + 1
    hit = {round(p) for p in from_beat if abs(p - round(p)) < 0.1}
    inner = [t for t in times if evidence.seconds[0] < t < evidence.seconds[-1]]
    steps = np.diff(np.log(np.diff(inner)))
    values |= {
        "period": math.log2(seconds / 0.7),
        "period_squared": math.log2(seconds / 0.7) ** 2,
        "attacks": math.log2(len(at) / span),
        "occupied": len(hit) / span,
        "steady": 0.5,
        "kept": kept_by_loops(
            np.interp(evidence.seconds, times, np.arange(len(times))).tolist(),
            rows["notes"].tolist(),
        )[1],
        "bend": math.log2(math.sqrt(float(np.mean(steps**2))) + 0.003),
    }
    return [values[name] for name in FEATURES]
