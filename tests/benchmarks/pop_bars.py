"""Where the bars of corrected pop songs begin: the truth that `bar_lines` and `train_time` use.

The corrected songs (`pop909.corrected_chords`) have a metre at tick 0 and no other: it says how long
bars are, not where they begin, for the files start where the first note does. In 57 % of songs neither
the chords that people wrote for them nor the beat files of the uncorrected songs have bars there. So
bar lines are the places, a bar apart but for a few odd bars, on which most chords begin (long ones count
most) and most of those first beats fall. Songs where the next best reading comes near are left out.
"""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.settings import ReadSettings
from arranger.song import read_song
from arranger.song.model import MetreChange
from arranger.song.time import seconds_at

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from arranger.song.model import Song

    Floats = NDArray[np.float64]

TICKS = 480
ODD_BAR = 4.0
"""What a bar of unusual length costs, in long chords."""
LEAST_MARGIN, LEAST_GOT, LEAST_ON_BEAT = 0.25, 0.6, 0.8


class Truth(NamedTuple):
    """A song without chords and metre, and where its beats and bars are, in quarters of the file."""

    song: Song
    played: Song
    """The uncorrected song: the same notes as they were played."""
    metre: tuple[int, int]
    beats: Floats
    bars: Floats
    map: tuple[Floats, Floats]
    """Quarters of the corrected song, and the seconds at which they were played."""
    sure: bool
    odd: int
    """How many bars have an unusual length."""


def chord_parts(song: Song) -> set[int]:
    names = {part.name for part in song.parts}
    chords = {"chords"} | ({"MIDI 01"} if "piano" in names else set())
    return {part.index for part in song.parts if part.name in chords and len(names) > 1}


def truth_of(folder: Path, corrected: Path, name: str) -> Truth | None:
    """Return what is known of a song; None if it has no chords."""
    whole = read_song(corrected / f"{name}.mid", ReadSettings(sustain=False))
    played = read_song(folder / f"{name}.mid", ReadSettings(sustain=False))
    chords = chord_parts(whole)
    kept = [note for note in whole.notes if note.part not in chords]
    song = replace(
        whole,
        notes=tuple(note._replace(id=number) for number, note in enumerate(kept)),
        metres=(MetreChange(0, 4, 4),),
        metre_said=False,
    )
    metre = whole.metres[0][1:]
    mapped = _map(song, played)
    onsets, spans = _chords(whole, chords)
    if len(onsets) < 8:
        return None
    rows = np.loadtxt(folder / f"{name}.beats.txt")
    firsts = np.interp(rows[rows[:, 2] > 0, 0], mapped[1], mapped[0], left=np.nan, right=np.nan)
    bar, unit = 4 * metre[0] / metre[1], 0.5 if metre[1] == 8 else 1.0
    found = Counter((np.round(onsets % unit / unit * 8).astype(int) % 8).tolist())
    offset, on_beat = found.most_common(1)[0]
    begin = offset / 8 * unit - 8 * unit
    last = song.columns.onset.max() / TICKS + bar
    places = begin + unit * np.arange(int((last - begin) / unit) + 1)
    worth = np.where(spans >= bar - 0.1, 1.0, np.where(spans >= bar / 2 - 0.1, 0.5, 0.2))
    evidence = _counted(onsets, worth, begin, unit, len(places))
    firsts = firsts[~np.isnan(firsts)]
    evidence += _counted(firsts, np.full(len(firsts), 0.8), begin, unit, len(places))
    size = round(bar / unit)
    lines = _lines(evidence, size)
    got = evidence[lines].sum() / evidence.sum()
    rivals = [lines + shift for shift in range(1, size)]
    rival = max(evidence[r[r < len(evidence)]].sum() for r in rivals) / evidence.sum()
    sure = got - rival > LEAST_MARGIN and got > LEAST_GOT and on_beat > LEAST_ON_BEAT * len(onsets)
    first = song.columns.onset.min() / TICKS
    bars = places[lines]
    width = 1.5 if unit == 0.5 and metre[0] % 3 == 0 else unit
    beats = [np.arange(a, b - 1e-6, width) for a, b in itertools.pairwise(bars)]
    before = bars[0] - width * np.arange(8, 0, -1)
    every = np.concatenate((before, *beats, bars[-1:]))
    return Truth(
        song, played, metre, every[every >= first - width], bars[bars >= first - 0.1], mapped,
        bool(sure), int(np.count_nonzero(np.diff(lines) != size)),
    )  # fmt: skip


def _map(song: Song, played: Song) -> tuple[Floats, Floats]:
    """Return quarters and seconds: the nth note of a pitch here is the nth of that pitch there."""
    ours, theirs = song.columns, played.columns
    ticks, at = [], []
    for pitch in np.unique(theirs.pitch):
        here, there = ours.pitch == pitch, theirs.pitch == pitch
        if here.sum() == there.sum():
            ticks.append(np.sort(ours.onset[here]))
            at.append(np.sort(theirs.onset[there]))
    tick, where = np.unique(np.concatenate(ticks), return_inverse=True)
    mean = np.bincount(where, seconds_at(played, np.concatenate(at))) / np.bincount(where)
    return tick / TICKS, np.maximum.accumulate(mean) + 1e-9 * np.arange(len(tick))


def _chords(song: Song, parts: set[int]) -> tuple[Floats, Floats]:
    """Return the quarters at which a chord differs from the one before, and how long each lasts."""
    columns = song.columns
    inside = np.isin(columns.part, list(parts))
    onsets = np.unique(columns.onset[inside])
    notes = [sorted(columns.pitch[inside & (columns.onset == onset)].tolist()) for onset in onsets]
    new = [place for place in range(len(onsets)) if not place or notes[place] != notes[place - 1]]
    changed = onsets[new] / TICKS
    return changed, np.diff(np.append(changed, changed[-1:] + 4))


def _counted(at: Floats, worth: Floats, begin: float, unit: float, count: int) -> Floats:
    places = (at - begin) / unit
    near = np.rint(places).astype(int)
    kept = (np.abs(places - near) < 0.3) & (near >= 0) & (near < count)
    return np.bincount(near[kept], worth[kept], count)


def _lines(evidence: Floats, size: int) -> NDArray[np.int64]:
    """Return the places of lines with most evidence, ``size`` apart but for a few."""
    count = len(evidence)
    best, came = evidence.copy(), np.full(count, -1)
    best[size + 4 :] = -np.inf
    for place in range(count):
        for length in range(max(1, size // 2), min(2 * size, place + 1)):
            value = best[place - length] + evidence[place] - ODD_BAR * (length != size)
            if value > best[place]:
                best[place], came[place] = value, place - length
    place, found = count - size + int(best[count - size :].argmax()), []
    while place >= 0:
        found.append(place)
        place = int(came[place])
    return np.array(found[::-1])
