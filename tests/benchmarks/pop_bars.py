"""Where the bars of corrected pop songs begin: the truth that `bar_lines` and `train_bars` use.

The corrected songs (`pop909.corrected_chords`) have a metre at tick 0 and no other: it says how long
bars are, not where they begin, for tick 0 is a beat, any of the bar's: of 449 songs the first note stands
on it in 108, one beat later in 104, two in 78, three in 55. In 57 % of songs neither the chords that people
wrote for them nor the beat files of the uncorrected songs have bars there. So
bar lines are the places, a bar apart but for a few odd bars, on which most chords begin (long ones count
most) and most of those first beats fall.

The two sources don't agree on odd bars: with first beats alone the lines have F 0.96 against both together,
with chords alone 0.74, and where chords contradict the first beats the network that was trained on both heard
2 % of the lines. Nobody corrected the beat files, so a first beat counts little here (`FIRST_BEAT`): it
decides where chords don't. Each line says by how much the best reading without it is worse (`Truth.margins`);
below `LEAST_KNOWN` the sources don't determine it, and it isn't counted. Songs where the next best even
reading comes near are left out.
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
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from arranger.song.model import Song

    Floats = NDArray[np.float64]

TICKS = 480
ODD_BAR = 4.0
"""What a bar of unusual length costs, in long chords."""
FIRST_BEAT = 0.3
"""What a first beat counts, in long chords."""
LEAST_KNOWN, LEAST_KNOWN_SHARE = 2.0, 0.5
NEAR_QUARTERS = 0.15
NEVER = -1e9
LEAST_MARGIN, LEAST_GOT, LEAST_ON_BEAT = 0.25, 0.6, 0.8


class Truth(NamedTuple):
    """A song without chords and metre, and where its beats and bars are, in quarters of the file."""

    song: Song
    played: Song
    """The uncorrected song: the same notes as they were played."""
    metre: tuple[int, int]
    beats: Floats
    bars: Floats
    margins: Floats
    """Shape (bars,): by how much the best reading without each bar line is worse, in long chords."""
    long_chords: Floats
    """Where chords begin that last a bar or longer, in quarters."""
    map: tuple[Floats, Floats]
    """Quarters of the corrected song, and the seconds at which they were played."""
    sure: bool
    odd: int
    """How many bars have an unusual length."""

    @property
    def known(self) -> NDArray[np.bool_]:
        """Which bar lines are determined."""
        return self.margins >= LEAST_KNOWN

    def unknown(self) -> list[tuple[float, float]]:
        """Return the stretches, in quarters, between known bar lines that have others between them."""
        return unknown_stretches(self.bars, self.known)

    def ends(self) -> Iterator[Floats]:
        """Yield the two ends of each such stretch, those of the song a little outside of it."""
        for stretch in self.unknown():
            yield np.clip(stretch, self.bars[0] - 8.0, self.bars[-1] + 8.0)


def unknown_stretches(bars: Floats, known: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Return the stretches without known bar lines, whose ends are known ones or those of the song."""
    ends = np.concatenate(([-np.inf], bars[known] + NEAR_QUARTERS))
    begins = np.concatenate((bars[known] - NEAR_QUARTERS, [np.inf]))
    places = np.searchsorted(ends, bars[~known]) - 1
    return [(float(ends[place]), float(begins[place])) for place in np.unique(places)]


def counted(lines: Floats, stretches: Sequence[tuple[float, float]]) -> Floats:
    """Return the lines outside of some stretches."""
    inside = [(lines > low) & (lines < high) for low, high in stretches]
    return lines[~np.any(inside, axis=0)] if inside else lines


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
    evidence += _counted(firsts, np.full(len(firsts), FIRST_BEAT), begin, unit, len(places))
    size = round(bar / unit)
    lines, margins = _lines(evidence, size)
    got = evidence[lines].sum() / evidence.sum()
    rivals = [lines + shift for shift in range(1, size)]
    rival = max(evidence[r[r < len(evidence)]].sum() for r in rivals) / evidence.sum()
    sure = got - rival > LEAST_MARGIN and got > LEAST_GOT and on_beat > LEAST_ON_BEAT * len(onsets)
    sure &= np.mean(margins >= LEAST_KNOWN) >= LEAST_KNOWN_SHARE
    first = song.columns.onset.min() / TICKS
    bars = places[lines]
    inside = bars >= first - 0.1
    width = 1.5 if unit == 0.5 and metre[0] % 3 == 0 else unit
    beats = [np.arange(a, b - 1e-6, width) for a, b in itertools.pairwise(bars)]
    before = bars[0] - width * np.arange(8, 0, -1)
    every = np.concatenate((before, *beats, bars[-1:]))
    return Truth(
        song, played, metre, every[every >= first - width], bars[inside], margins[inside],
        onsets[spans >= bar - 0.1], mapped,
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


def _lines(evidence: Floats, size: int) -> tuple[NDArray[np.int64], Floats]:
    """Return the places of lines with most evidence, ``size`` apart but for a few, and their margins."""
    count, lengths = len(evidence), _lengths(size)
    price = [ODD_BAR * (length != size) for length in lengths]
    best, came = evidence.copy(), np.full(count, -1)
    best[size + 4 :] = NEVER
    onward = np.full(count, NEVER)
    onward[count - size :] = 0.0
    for place in range(count):
        for length, paid in zip(lengths, price, strict=True):
            if length <= place and best[place - length] + evidence[place] - paid > best[place]:
                best[place] = best[place - length] + evidence[place] - paid
                came[place] = place - length
    for place in range(count - 1, -1, -1):
        for length, paid in zip(lengths, price, strict=True):
            if place + length < count:
                after = onward[place + length] + evidence[place + length] - paid
                onward[place] = max(onward[place], after)
    place, found = count - size + int(best[count - size :].argmax()), []
    top = best[place]
    while place >= 0:
        found.append(place)
        place = int(came[place])
    without = _without(evidence, best, onward, size, price)
    return np.array(found[::-1]), top - without[found[::-1]]


def _lengths(size: int) -> range:
    return range(max(1, size // 2), 2 * size)


def _without(
    evidence: Floats, best: Floats, onward: Floats, size: int, price: list[float]
) -> Floats:
    """Return what the best reading has that has no line at a place; shape (places,)."""
    count = len(evidence)
    first = evidence + onward
    first[size + 4 :] = NEVER
    # readings that begin after a place, and such that end before it
    result = np.append(np.maximum.accumulate(first[::-1])[::-1][1:], NEVER)
    last = best.copy()
    last[: count - size] = NEVER
    result[1:] = np.maximum(result[1:], np.maximum.accumulate(last)[:-1])
    for length, paid in zip(_lengths(size), price, strict=True):
        across = best[:-length] + evidence[length:] + onward[length:] - paid
        for place in range(1, length):
            spanned = result[place : count - length + place]
            np.maximum(spanned, across, out=spanned)
    return result
