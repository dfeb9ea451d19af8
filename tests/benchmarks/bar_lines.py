"""Measure bar lines: ``python -m tests.benchmarks.bar_lines POP909 POP909-CL [EVERY] [--own-beat]``.

On the third of the corrected pop songs that `train_bars` doesn't train on, without their metre (`pop_bars`
says where bars are): F of bar lines within 70 ms on the file's own beat, beside that of 4/4 from the first
tick and of 4/4 from the first note; by ear, F of beats and bar lines, with the notes at the corrected and at the played places.
Only known bar lines count, and what is heard outside of unknown stretches; of "all bar lines, known or not" all do.
``--own-beat`` leaves out what is by ear. Goals: 0.98 on the file's beat, 0.85 by ear, beats 0.95.

Then what the truth itself is worth: F against the metre event at tick 0, and how many of the chords that people wrote that
last a bar or longer begin on a bar line by each of the three. Last, the file's own metre event given back
(`arranger.grid.bars.disputed`): how often the summary may say that the music has other bars, where it has and where
it hasn't.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import mir_eval.beat
import numpy as np

from arranger.engine import load_engine
from arranger.grid import heard_bars, plan_grid
from arranger.settings import GridSettings
from arranger.song.model import MetreChange
from arranger.song.time import seconds_at
from tests.benchmarks.corpora import blinded
from tests.benchmarks.pop909 import held_out, names
from tests.benchmarks.pop_bars import TICKS, Truth, counted, truth_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from arranger.song.model import Song

    Floats = NDArray[np.float64]
    Stretches = Sequence[tuple[float, float]]

ENGINE = load_engine("twin-phase")
NEAR = 0.07


def f_measure(
    truth: Floats, found: Floats, span: tuple[float, float], without: Stretches = ()
) -> float:
    """Return F within a span but for some stretches."""

    def inside(times: Floats) -> Floats:
        kept = times[(times > span[0] - NEAR) & (times < span[1] + NEAR)]
        return np.sort(counted(kept, without))

    return float(mir_eval.beat.f_measure(inside(truth), inside(found)))


def begun_on_lines(chords: Floats, lines: Floats) -> float:
    """Return the share of chords that begin on a bar line; all in seconds."""
    return float(np.mean([np.abs(lines - at).min() < NEAR for at in chords]))


def by_ear(
    song: Song, beats: Floats, bars: Floats, span: tuple[float, float], without: Stretches
) -> tuple[float, float]:
    heard = blinded(song)
    grid = plan_grid(heard, ENGINE, GridSettings(beat="track"))
    assert grid.timeline is not None
    lines = seconds_at(heard, grid.timeline.bar_ticks)
    return (
        f_measure(beats, np.array(grid.beats_seconds), span),
        f_measure(bars, lines, span, without),
    )


def on_own_beat(truth: Truth) -> tuple[float, ...]:
    """Return F of four readings, of our bars where all count, and the shares of long chords."""
    song = truth.song

    def seconds(quarters: Floats) -> Floats:
        return seconds_at(song, np.rint(quarters * TICKS))

    onsets = seconds_at(song, song.columns.onset)
    span = float(onsets.min()), float(onsets.max())
    grid = plan_grid(song, ENGINE)
    assert grid.timeline is not None
    own = seconds_at(song, grid.timeline.bar_ticks)
    size = 4 * truth.metre[0] / truth.metre[1]
    end, first = song.end_tick / TICKS + size, song.columns.onset.min() / TICKS
    stated, usual, from_first = (
        seconds(np.arange(begin, end, bar)) for begin, bar in ((0, size), (0, 4), (first, 4))
    )
    bars, known = seconds(truth.bars), seconds(truth.bars[truth.known])
    without = [(float(low), float(high)) for low, high in map(seconds, truth.ends())]
    chords = seconds(truth.long_chords)
    return (
        *(f_measure(known, lines, span, without) for lines in (usual, from_first, stated, own)),
        f_measure(bars, own, span),
        f_measure(stated, own, span),
        f_measure(stated, usual, span),
        *(begun_on_lines(chords, lines) for lines in (stated, own, bars)),
    )


def heard(truth: Truth) -> tuple[float, ...]:
    """Return F of beats and bars by ear, as corrected and as played."""
    song, (quarters, at) = truth.song, truth.map
    onsets = seconds_at(song, song.columns.onset)
    rows: list[float] = []
    for heard_song, where, span in (
        (song, lambda x: seconds_at(song, np.rint(x * TICKS)), (onsets.min(), onsets.max())),
        (truth.played, lambda x: np.interp(x, quarters, at), (at[0], at[-1])),
    ):
        without = [(float(low), float(high)) for low, high in map(where, truth.ends())]
        known = where(truth.bars[truth.known])
        inside = float(span[0]), float(span[1])
        rows += by_ear(heard_song, where(truth.beats), known, inside, without)
    return tuple(rows)


def told(truth: Truth) -> tuple[bool, bool, bool]:
    """Return whether the stated bars are right, whether others are told, and whether these are."""
    song = replace(truth.song, metres=(MetreChange(0, *truth.metre),), metre_said=True)
    other = heard_bars(song, plan_grid(song, ENGINE))
    size = 4 * truth.metre[0] / truth.metre[1]
    known = truth.bars[truth.known]

    def share(first: float, bar: float) -> float:
        into = (known - first) / bar
        return float(np.mean(np.abs(into - np.rint(into)) < NEAR))

    right = share(0.0, size) >= max(share(place, size) for place in np.arange(0, size, 0.5))
    if other is None:
        return right, False, False
    line = other.first_beat * 1e6 / song.tempos[0].microseconds_per_beat
    bar = 4 * other.metre[0] / other.metre[1]
    return right, True, share(line, bar) > share(0.0, size) and bar == size


TITLES = (
    "4/4 from the first tick", "4/4 from the first note", "the file's metre event at tick 0",
    "bars on the file's beat", "the same, all bar lines, known or not",
    "ours against the metre event", "4/4 from the first tick against it",
    "long chords on a bar line, by the metre event", "ours", "the truth",
    "by ear, corrected: beats", "bars", "by ear, as played: beats", "bars",
)  # fmt: skip


def main(folder: Path, corrected: Path, every: int, *, ear: bool) -> None:
    found, odd, words, left_out, lines = [], [], [], 0, np.zeros(2)
    for name in held_out(names(corrected))[1][::every]:
        truth = truth_of(folder, corrected, name)
        if truth is None or not truth.sure:
            left_out += 1
            continue
        found.append((*on_own_beat(truth), *(heard(truth) if ear else ())))
        odd.append(truth.odd > 0)
        words.append(told(truth))
        lines += np.count_nonzero(truth.known), len(truth.known)
    rows, is_odd = np.array(found), np.array(odd)
    print(
        f"{len(rows)} songs ({left_out} left out: where their bars begin isn't sure); "
        f"{lines[0]:.0f} of {lines[1]:.0f} bar lines are known"
    )
    for title, column in zip(TITLES, rows.T, strict=False):
        print(
            f"  {title}: {column.mean():.3f} (all bars alike, {np.count_nonzero(~is_odd)} songs: "
            f"{column[~is_odd].mean():.3f}; some odd: {column[is_odd].mean():.3f})"
        )
    right, is_told, truly = np.array(words).T
    print(
        f"  told that the music has other bars: {np.count_nonzero(is_told & ~right)} of "
        f"{np.count_nonzero(~right)} songs where it has ({np.count_nonzero(truly & ~right)} "
        f"the right ones), {np.count_nonzero(is_told & right)} of {np.count_nonzero(right)} where not"
    )


if __name__ == "__main__":
    given = [word for word in sys.argv[1:] if word != "--own-beat"]
    main(
        Path(given[0]),
        Path(given[1]),
        int(given[2]) if len(given) > 2 else 1,
        ear="--own-beat" not in sys.argv,
    )
