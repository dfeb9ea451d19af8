"""The network that hears beats: its sums, what it is shown, and what is made of what it says."""

from __future__ import annotations

import numpy as np
import pytest

from arranger.grid.attacks import find_attacks
from arranger.grid.track.evidence import COLUMNS, find_evidence
from arranger.grid.track.networks import ear
from arranger.grid.track.networks.beat_frames import BANDS, CHANNELS, CHROMA, beat_frames
from arranger.grid.track.networks.beats_heard import HeardSong
from arranger.grid.track.networks.ear import listen
from arranger.grid.track.networks.layers import load_weights
from arranger.grid.track.readings import periods_between, reading_of
from arranger.grid.track.sureness import SURE_FEATURES, sure_features, sureness
from arranger.song.time import timed_columns
from tests.grid.songs import song_of

NO_METRE = np.zeros(6)


def convolved(rows: np.ndarray, taps: np.ndarray, apart: int) -> np.ndarray:
    middle = len(taps) // 2
    found = []
    for at in range(len(rows)):
        places = [at + (tap - middle) * apart for tap in range(len(taps))]
        inside = [(p, t) for p, t in zip(places, taps, strict=True) if 0 <= p < len(rows)]
        found.append(sum(rows[p] @ t for p, t in inside))
    return np.array(found)


def test_the_network_is_what_its_sums_say(monkeypatch: pytest.MonkeyPatch) -> None:
    random = np.random.default_rng(1)
    weights = {
        key: (random.normal(size=value.shape) / np.sqrt(value[..., 0].size)).astype(np.float32)
        for key, value in load_weights("beats.npz").items()
    }
    frames = random.random((22, CHANNELS)).astype(np.float32)

    def relu(x: np.ndarray) -> np.ndarray:
        return np.maximum(x, 0)

    def block(rows: np.ndarray, name: str, apart: int) -> np.ndarray:
        inner = relu(
            convolved(rows, weights[f"{name}.taps.weight"], apart) + weights[f"{name}.taps.bias"]
        )
        return rows + inner @ weights[f"{name}.mix.weight"][0] + weights[f"{name}.mix.bias"]

    padded = np.concatenate((frames, np.zeros((2, CHANNELS))))
    outer = relu(convolved(padded, weights["first.weight"], 1) + weights["first.bias"])
    for number, apart in enumerate((1, 2, 4)):
        outer = block(outer, f"outer.{number}", apart)
    down = weights["down.weight"]
    inner = relu(
        np.array([sum(outer[4 * n + k] @ down[k] for k in range(4)) for n in range(6)])
        + weights["down.bias"]
    )
    for number, apart in enumerate((1, 2, 4, 8, 16, 32, 64, 128, 1, 8)):
        inner = block(inner, f"inner.{number}", apart)
        if number in {4, 8}:
            name = f"whole.{number // 8}"
            inner = (
                inner
                + relu(inner).mean(axis=0) @ weights[f"{name}.weight"]
                + weights[f"{name}.bias"]
            )
    up = weights["up.weight"]
    risen = np.array([relu(inner[n // 4]) @ up[n % 4] for n in range(24)])
    outer = outer + risen + weights["up.bias"]
    for number, apart in enumerate((1, 2)):
        outer = block(outer, f"after.{number}", apart)
    odds = relu(outer) @ weights["last.weight"][0] + weights["last.bias"]
    metre = relu(inner) @ weights["metre.weight"][0] + weights["metre.bias"]
    shares = np.exp(metre[:, :6]) / np.exp(metre[:, :6]).sum(axis=1, keepdims=True)
    found = listen(weights, frames)
    size = np.abs(odds).max()
    assert found.odds == pytest.approx(odds[:22], rel=1e-3, abs=1e-4 * size)
    assert found.metres == pytest.approx(np.log(shares).mean(axis=0), rel=1e-2)
    assert found.thirds == pytest.approx(metre[:, 6].mean(), rel=1e-3)
    assert ear.METRES == 6


def test_frames_share_an_attack_by_nearness_and_know_what_sounds() -> None:
    """Half a second a beat: attacks at frames 2, 27 and 52.5."""
    song = song_of([(0, 1, 60), (1, 2, 67), (2.02, 1, 40)], [(1, 1, 38)], drums=frozenset({1}))
    notes = timed_columns(song)
    attacks = find_attacks(notes)
    frames = beat_frames(notes, attacks, find_evidence(notes, attacks))
    assert frames.shape[1] == CHANNELS
    full = frames[27, CHROMA + 7]
    assert full == pytest.approx(np.log(2))
    share = float(notes.onset_seconds[-1]) * 50 + 2 - 52
    assert frames[[52, 53], CHROMA + 4] == pytest.approx(
        [(1 - share) * full, share * full], abs=1e-4
    )
    drums = len(COLUMNS) + BANDS + 2
    assert frames[27, drums : drums + 3].tolist() == pytest.approx(
        [0, notes.loudness[0], 0], abs=1e-6
    )
    assert np.flatnonzero(frames[:, len(COLUMNS) + 3]).tolist() == [52, 53], (
        "40 is in the band from 40"
    )
    assert np.flatnonzero(frames[:, CHROMA + 12]).tolist() == list(range(2, 27))
    assert np.flatnonzero(frames[:, -1]).tolist() == [27, 77, 78]


def test_odds_of_beats_and_lines_are_the_best_near_them() -> None:
    beat = np.array([5.0, -1, -1, -1, 2, -1, -1, -1, -1, -1])
    bar = np.array([-6.0, -6, 3, -6, -6, -6, -6, -6, -6, -6])
    heard = HeardSong(np.stack((beat, bar), 1), 1.0, NO_METRE, 0.0)
    at = 1.0 + np.array([0, 1, 2, 3, 6, 9, 11]) / 50
    assert heard.beat_odds(at).tolist() == [5, 5, -1, 2, -1, -1, -6]
    outside = np.array([0.5, 1 + 40 / 50])
    assert heard.beat_odds(outside).tolist() == [-6, -6]
    assert heard.bar_odds(outside).tolist() == [0, 0]
    lines = heard.bar_odds(1.0 + np.array([0, 4, 5]) / 50)
    assert lines.tolist() == [5, 5, -4]
    edges = heard.bar_odds(1.0 + np.array([-0.6, -0.4, 10, 10.4]) / 50)
    assert edges.tolist() == [0, 0, -4, 0]


def test_bars_heard_are_those_of_the_likelier_metre() -> None:
    """Odds say the same of bars of two and of four: every fourth beat is surer than every second."""
    odds = np.full((1300, 2), -6.0)
    beats = 1.0 + np.arange(48) / 2
    odds[25 * np.arange(0, 48, 2), 1] = -2.0
    odds[25 * np.arange(0, 48, 4), 1] = 0.0
    for metres, size in (((0, 0, 0, -9, 0, 0), 2), ((0, -9, 0, 0, 0, 0), 4)):
        heard = HeardSong(odds, 1.0, np.array(metres, float), 0.0)
        found = heard.lines(beats)
        assert found is not None
        assert set(np.diff(found.lines)) == {size}


def test_periods_between_two_are_those_of_the_usual_ones_or_any() -> None:
    assert periods_between(0.5, 0.66).tolist() == [25, 26, 27, 28, 29, 30, 31, 32, 33]
    assert periods_between(0.501, 0.659).tolist() == [26, 27, 28, 29, 30, 31, 32]
    assert periods_between(0.15, 0.19).tolist() == [8, 9]
    assert periods_between(0.16, 0.18).tolist() == [8, 9]
    assert periods_between(0.151, 0.152).tolist() == [8]
    assert periods_between(0.167, 0.176).tolist() == [9]
    assert periods_between(0.001, 0.002).tolist() == [1]
    slow = periods_between(2.0, 5.99)
    assert (len(slow), slow[0], set(np.diff(slow).tolist())) == (50, 100, {4})
    assert not len(periods_between(0.1, 0.2, nearest=False))


def test_beats_are_surer_the_clearer_they_are_heard() -> None:
    odds = np.full((600, 2), -6.0)
    odds[25 * np.arange(20), 0] = np.where(np.arange(20) < 10, 5.0, -3.0)
    heard = HeardSong(odds, 0.0, NO_METRE, 0.0)
    beats = np.arange(20) / 2
    rows = dict(zip(SURE_FEATURES, sure_features(heard, beats, 0.5).T, strict=True))
    assert rows["reading"] == pytest.approx(0.0)
    assert rows["odds"].tolist() == [5.0] * 10 + [-3.0] * 10
    assert rows["around"][[0, 9, 19]].tolist() == pytest.approx([5.0, (9 * 5 - 8 * 3) / 17, -3.0])
    assert rows["song"] == pytest.approx(1.0)
    assert rows["bend"] == pytest.approx(0.0, abs=1e-9)
    bent = sure_features(heard, np.append(beats[:5], beats[5:] + 0.25), 0.5)[:, -1]
    assert bent[[3, 4, 5, 6]].tolist() == pytest.approx([0, np.log(1.5), np.log(1.5), 0])
    broken = sure_features(heard, np.append(beats[:5], beats[5:] + 0.5), 0.5)[:, -1]
    assert broken[[3, 4, 5, 6]].tolist() == pytest.approx([0, 0.5, 0.5, 0]), "at most"
    for share, known in ((0.9, np.log(9)), (0.0, -6.0), (1.0, 6.0)):
        assert sure_features(heard, beats, share)[:, 1] == pytest.approx(known)
    sure = sureness(heard, beats, 0.9)
    assert sure[0] > 0.9 > 0.5 > sure[19]
    assert sureness(heard, beats, 0.99)[9] > sureness(heard, beats, 0.4)[9]


def test_bars_of_each_number_of_beats_have_their_price() -> None:
    """How likely the song's metre is counts three tenths in every bar; of seven beats as of six."""
    metres = np.array([-1.0, -2.0, -3.0, -4.0, -5.0, -6.0])
    costs = {2: 0.5, 3: 0.3, 4: 0.0, 5: 1.0, 6: 0.5, 7: 1.0}
    for size, cost in costs.items():
        odds = np.full((25 * 12 * size, 2), -6.0)
        odds[:: 25 * size, 1] = 2.0
        heard = HeardSong(odds, 0.0, metres, 0.0)
        found = heard.lines(np.arange(12 * size) / 2)
        assert found is not None
        assert found.lines.tolist() == list(range(0, 12 * size + 1, size))
        price = cost + 0.3 * min(size, 6)
        assert found.score == pytest.approx(12 * (2 + 2) - 11 * price)


@pytest.mark.parametrize(
    ("kind", "first", "shifted"),
    [("best", 1, 0), ("file", 1, 0), ("shifted", 0, 1), ("half", 0, 0)],
)
def test_a_reading_is_described_by_what_it_gains(kind: str, first: int, shifted: int) -> None:
    odds = np.full((700, 2), -6.0)
    odds[::30] = 3.0
    odds[::120, 1] = 4.0
    heard = HeardSong(odds, 0.0, NO_METRE, 0.0)
    beats = np.append(0.6 * np.arange(20), 12.3)
    found = reading_of(kind, heard, beats, 12.0, 8.0)
    assert (found.kind, found.period) == (kind, pytest.approx(0.6))
    assert found.bars is not None
    mean = (20 * 3.0 - 6.0) / 21
    wanted = [1.5, found.bars.score / 8, mean, 0, 0, first, shifted]
    assert found.features == pytest.approx(wanted, abs=1e-9)
    slow = reading_of(kind, heard, 3 * beats[:4], 12.0, 8.0)
    assert slow.features[3:5] == pytest.approx([np.log(3), np.log(3) ** 2])
    silent = HeardSong(np.full((700, 2), -6.0), 0.0, NO_METRE, 0.0)
    assert reading_of(kind, silent, beats, 12.0, 8.0).features[1] == 0.0
