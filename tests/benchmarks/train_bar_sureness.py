"""Train how sure bars are: ``python -m tests.benchmarks.train_bar_sureness PIECES [--heard-by NETWORK]``.

PIECES is what `time_pieces` writes. Learned are the weights by which `arranger.grid.track.bars_sure` says how likely bar
lines are right (F of at least `RIGHT`), one set for each way of finding them:

- ``bars_heard``: on the file's own beat, which says no metre
- ``bars_stated``: those that a file states. True ones, and 4/4 from the first tick where that is wrong; these count as one in
  `WRONG_STATED`, which is a guess: of the files that people have, we know no such share.
- ``bars_tracked``: on a beat that was tracked
- ``bars_placed``: there, with the length of a bar said

Scores and pop songs count alike. Learned is from pieces that the networks weren't trained on, whole and in cuts: those that `train_bars` and
`train_beats` leave to choose by ("check") and those held out, since composers that a network knows make it too sure. Told is how
many of those called so sure are right, of held-out pieces, each by weights that were learned without its composer, or its fold of the pop songs. Since
`bars.npz` was trained with ``--all``, NETWORK, its like that was not, hears the pieces to choose by. Without it nothing is
written, and the packaged weights are measured on the held-out pieces, which they know.
"""

from __future__ import annotations

import argparse
import lzma
import pickle
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from arranger.grid.attacks import find_attacks
from arranger.grid.bars.metres import choose_bars
from arranger.grid.track.bars_sure import BAR_FEATURES, weigh_bars
from arranger.grid.track.beat import track_beat
from arranger.grid.track.feature_weights import weights_of
from arranger.grid.track.networks import bars_heard
from arranger.grid.track.networks.bars_heard import (
    BEAT_LENGTHS,
    SLOT_LENGTHS,
    SLOTS_A_BEAT,
    hear_lines,
    likeliest_bars,
)
from arranger.grid.track.networks.beats_heard import BAR_BIAS
from arranger.grid.track.networks.network import network_of
from arranger.grid.tracked import even_lines
from arranger.settings import GridSettings
from arranger.song.time import timed_columns
from tests.benchmarks import train_bars, train_beats
from tests.benchmarks.performing import perform
from tests.benchmarks.pop_bars import counted, unknown_stretches
from tests.benchmarks.score_bars import BPM, song_from
from tests.benchmarks.train_readings import RUBATO, f_measure, fit_sureness, performances, write

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.benchmarks.performing import Played

RIGHT = 0.8
WRONG_STATED = 10
CUTS, SHORTEST, LONGEST = 3, 6, 80
"""Cuts of a piece, and their fewest and most bars."""
BOUNDS = (0.0, 0.1, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 1.001)
SLOT_SECONDS = 0.175
"""A slot as time, so that `f_measure` counts as hits what is less than half of one away."""
FOLDS, OFTEN = 5, {"airdsAirs", "trecento"}
WAYS = ("bars_heard", "bars_stated", "bars_tracked", "bars_placed")


class Lesson(NamedTuple):
    """Bars of a piece that were found in some way."""

    way: str
    pop: bool
    whole: bool
    """Whether it is no cut."""
    held: bool
    group: str
    """Of a score its composer, of the others the songs of a fold."""
    features: Any
    right: bool
    stated_wrong: bool = False


def group_of(row: dict[str, Any], number: int) -> str:
    if row["comp"] == "pop":
        return f"fold {number % FOLDS}"
    return row["comp"] if row["comp"] in OFTEN else "others"


def cuts(row: dict[str, Any], rng: np.random.Generator) -> Iterator[dict[str, Any]]:
    """Yield a piece, and some stretches of it as pieces that begin near a bar line."""
    yield row
    bars, onset = row["bars"].astype(float), row["onset"].astype(float)
    for _ in range(CUTS):
        count = int(np.exp(rng.uniform(np.log(SHORTEST), np.log(LONGEST))))
        if len(bars) <= count + 2:
            continue
        first = int(rng.integers(0, len(bars) - count))
        kept = (onset >= bars[first] - rng.choice((0, 0, 1, 2)) - 1e-6) & (
            onset < bars[first + count] - 1e-6
        )
        if np.count_nonzero(kept) < 16:
            continue
        shift = float(np.floor(onset[kept].min() * SLOTS_A_BEAT + 1e-6) / SLOTS_A_BEAT)
        columns = {name: row[name][kept] for name in ("onset", "length", "pitch", "part")}
        yield row | columns | {"onset": onset[kept] - shift, "bars": bars - shift}


def on_own_beat(job: tuple[dict[str, Any], int, Any]) -> list[Lesson]:
    """Return the lessons of a score or corrected song as it is written."""
    row, number, network = job
    if network is not None:
        setattr(bars_heard, "load", lambda _: network)  # noqa: B010  # hear by another network
    found = []
    for place, piece in enumerate(cuts(row, np.random.default_rng(number))):
        song = song_from(piece)
        notes = timed_columns(song)
        attacks = find_attacks(notes)
        odds = hear_lines(
            notes, attacks, song.ticks_per_beat, 60 / row["spq"] if row["spq"] else BPM
        )
        common = row["comp"] == "pop", not place, network is None, group_of(row, number)
        found += [
            Lesson(way, *common, *found) for way, *found in _of_slots(piece, odds, attacks.count)
        ]
    return found


def _of_slots(row: dict[str, Any], odds: Any, attacks: int) -> Iterator[tuple[Any, ...]]:
    known = train_bars.known_of(row)
    chosen = choose_bars(odds, attacks)
    size = 4 * SLOTS_A_BEAT
    truth, usual = _true_lines(row, len(odds)), np.arange(0, len(odds) + size, size)
    likeliest = likeliest_bars(odds[:, 1], SLOT_LENGTHS)
    best = 0.0 if likeliest is None else likeliest.score

    def f(lines: Any) -> float:
        begin, end = float(row["onset"].min()), float(row["onset"].max())
        bars, found = row["bars"].astype(float)[known], lines / SLOTS_A_BEAT
        found = counted(found, unknown_stretches(row["bars"].astype(float), known))
        both = [
            x[(x > begin - 0.1) & (x < end + 0.1)] * SLOTS_A_BEAT * SLOT_SECONDS
            for x in (bars, found)
        ]
        return f_measure(*both)

    for way, lines in (
        ("bars_heard", chosen.lines),
        ("bars_stated", truth),
        ("bars_stated", usual),
    ):
        right = f(lines) >= RIGHT
        is_wrong = lines is usual
        if (is_wrong and right) or (lines is truth and not right):
            continue
        features = weigh_bars(odds[:, 1], lines, SLOT_LENGTHS).features(best, 0.5)
        yield way, features, right, is_wrong


def _true_lines(row: dict[str, Any], count: int) -> Any:
    """Return the slots of the true bars, to both ends."""
    lines = np.unique(np.rint(row["bars"].astype(float) * SLOTS_A_BEAT).astype(np.int64))
    size = int(np.bincount(np.diff(lines)).argmax())
    lines = np.concatenate((np.arange(lines[0] % size, lines[0], size), lines))
    lines = np.concatenate((lines, np.arange(lines[-1] + size, count + size, size)))
    inside = lines[(lines >= 0) & (lines < count)]
    return np.append(inside, inside[-1] + size)


def by_ear(job: tuple[dict[str, Any], int, bool]) -> list[Lesson]:
    """Return the lessons of some performances of a piece."""
    row, number, held = job
    done = list(performances(row, number)) if not held else []
    if held and row["comp"] == "pop":
        done = [(0.0, train_bars.recorded(row, np.random.default_rng(7 * number + 3)))]
    elif held:
        rng = np.random.default_rng(7 * number + 3)
        seconds = float(np.clip(np.exp(rng.normal(np.log(0.66), 0.3)), 0.35, 1.3))
        piece = train_bars.piece_of(row)
        done = [(each, perform(piece, 7 * number + 3, seconds, each)) for each in RUBATO]
    common = row["comp"] == "pop", True, held, group_of(row, number)
    return [
        Lesson(way, *common, *found) for _, each in done for way, *found in _of_beats(row, each)
    ]


def _of_beats(row: dict[str, Any], played: Played) -> Iterator[tuple[Any, ...]]:
    notes = played.notes
    beat = track_beat(notes, find_attacks(notes), None, GridSettings())
    if beat is None:
        return
    odds, heard = beat.heard.bar_odds(beat.seconds), beat.heard.lines(beat.seconds)
    first = max(float(notes.onset_seconds.min()), float(played.beats[0])) - 0.07
    last = min(float(notes.onset_seconds.max()), float(played.beats[-1])) + 0.07
    every = row["bars"].astype(float)
    if row["comp"] == "pop" and "perf_bars" in row and len(every) != len(played.bars):
        every = every[~np.isnan(row["perf_bars"])]
    known = train_bars.known_of(row)
    same = len(known) == len(played.bars)
    stretches = unknown_stretches(played.bars, known) if same else []

    def f(lines: Any) -> float:
        found = counted(beat.seconds[lines[lines < len(beat.seconds)]], stretches)
        bars = played.bars[known] if same else played.bars
        return f_measure(*(x[(x >= first) & (x <= last)] for x in (bars, found)))

    readings = [] if heard is None else [("bars_tracked", heard.lines)]
    top, bottom = row["metre"]
    if bottom == 4 and 2 <= top < 8:
        readings.append(("bars_placed", np.rint(even_lines(odds, top)).astype(np.int64)))
    for way, lines in readings:
        weighed = weigh_bars(odds - BAR_BIAS, lines, BEAT_LENGTHS)
        features = weighed.features(weighed.score, beat.sure)
        yield way, features, f(lines) >= RIGHT


def lessons_of(rows: list[tuple[int, dict[str, Any]]], kind: str, network: Any) -> list[Lesson]:
    """Return the lessons of all pieces of a kind."""
    sure = [(number, row) for number, row in rows if row["sure"]]
    written = [(row, n, network) for n, row in sure if train_bars.kind_of(n, row) == kind]
    played = [(row, n, kind == "held") for n, row in sure if train_beats.kind_of(n, row) == kind]
    with ProcessPoolExecutor(2) as workers:
        ear = workers.map(by_ear, played, chunksize=4)
        own = workers.map(on_own_beat, written, chunksize=4)
        return [lesson for some in (*own, *ear) for lesson in some]


def worth(lessons: list[Lesson]) -> Any:
    """Return what each lesson counts: scores and pop songs alike, wrongly stated bars as one in `WRONG_STATED`."""
    groups: dict[Any, int] = defaultdict(int)
    keys = [(each.pop, each.stated_wrong) for each in lessons]
    for key in keys:
        groups[key] += 1
    stated = lessons[0].way == "bars_stated"
    share = {True: 1 / WRONG_STATED, False: 1 - 1 / WRONG_STATED if stated else 1.0}
    return np.array([len(lessons) / 2 * share[key[1]] / groups[key] for key in keys])


def fitted(lessons: list[Lesson]) -> Any:
    features, right = np.array([x.features for x in lessons]), np.array([x.right for x in lessons])
    return fit_sureness(features, right, worth(lessons))


def said(lessons: list[Lesson], weights: Any) -> Any:
    return 1 / (1 + np.exp(-np.array([each.features for each in lessons]) @ weights))


def crossed(lessons: list[Lesson], asked: list[Lesson]) -> Any:
    """Return how sure some lessons are by weights that are learned without their group."""
    sure, groups = np.zeros(len(asked)), np.array([each.group for each in asked])
    for group in np.unique(groups):
        weights = fitted([x for x in lessons if not (x.held and x.group == group)])
        inside = groups == group
        sure[inside] = said([x for x in asked if x.group == group], weights)
    return sure


def tell(title: str, sure: Any, lessons: list[Lesson]) -> None:
    """Print how many of those that are called so sure are right."""
    right, counts = np.array([each.right for each in lessons]), worth(lessons)
    print(f"{title}: {len(lessons)}, right {np.average(right, weights=counts):.2f}")
    for low, high in pairwise(BOUNDS):
        inside = (sure >= low) & (sure < high)
        if inside.any():
            said, true = (np.average(x[inside], weights=counts[inside]) for x in (sure, right))
            print(
                f"  {low:.2f} to {min(high, 1):.2f}: {inside.sum()}, said {said:.2f}, right {true:.2f}"
            )


def heard_by(path: Path) -> Any:
    with np.load(path) as arrays:
        return network_of({name: arrays[name].astype(np.float32) for name in arrays.files})


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("pieces", type=Path)
    asked.add_argument("--heard-by", type=Path)
    given = asked.parse_args()
    with lzma.open(given.pieces) as file:
        rows = list(enumerate(pickle.load(file)))
    held = lessons_of(rows, "held", None)
    check = lessons_of(rows, "check", heard_by(given.heard_by)) if given.heard_by else []
    for way in WAYS:
        learned = [each for each in (*check, *held) if each.way == way]
        if check:
            write(way, BAR_FEATURES, fitted(learned))
        some = [each for each in learned if each.held and each.whole]
        sure = crossed(learned, some) if check else said(some, weights_of(way, BAR_FEATURES))
        tell(way, sure, some)
        for pop in (False, True):
            chosen = [n for n, each in enumerate(some) if each.pop is pop]
            tell(f"{way}, {'pop' if pop else 'scores'}", sure[chosen], [some[n] for n in chosen])


if __name__ == "__main__":
    main()
