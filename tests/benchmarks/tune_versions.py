"""Versions of songs to train the tune model on, so that it knows music, not files.

A song is held by its pedal or not, put on an exact grid, played at another tempo, unevenly, with
shorter notes; its notes are equally loud, or loud at random; its accompaniment is thinned, or falls
silent; the tune is doubled in octaves, or stands below what goes with it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from arranger.reduce.worth.tune_model import SHORTEST

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.random import Generator
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LEVEL = 80 / 127
"""Loudness where all notes are equally loud."""
CANDIDATES = 24
"""At most so many of the notes that sound at a moment are asked about, the latest."""


@dataclass(frozen=True, slots=True)
class Version:
    """Notes, each column of shape (notes,)."""

    onset: Floats
    length: Floats
    """As the notes sound."""
    keyed: Floats
    """As long as the tune's keys are held: how long a tune note lasts."""
    pitch: Floats
    loudness: Floats
    tune: NDArray[np.bool_]
    weight: Floats
    """How much it matters whether the note is taken for the tune."""

    def at(self, index: NDArray[np.generic]) -> Version:
        return Version(*(getattr(self, name)[index] for name in self.__slots__))


def as_it_is(song: Mapping[str, NDArray[np.generic]], *, held: bool = False) -> Version:
    """Return a sample as it stands, with or without its pedal."""
    onset = song["onset"].astype(np.float64)
    keyed = np.maximum(song["end"] - onset, SHORTEST)
    length = np.maximum(song["held"] - onset, SHORTEST) if held else keyed
    return Version(
        onset, length, keyed, song["pitch"].astype(np.float64),
        song["loudness"].astype(np.float64), song["tune"].astype(bool), np.ones(len(onset)),
    )  # fmt: skip


def varied(song: Mapping[str, NDArray[np.generic]], rng: Generator) -> Version:
    """Return a version of a sample."""
    score = not len(song["beats"])
    kind = rng.random()
    found = as_it_is(song, held=kind < 0.3)
    if not score and 0.3 <= kind < 0.55:
        found = _on_grid(found, song["beats"].astype(np.float64), rng)
    if rng.random() < 0.12:
        found = _pedalled(found, rng)
    found = _louder(found, rng, score)
    found = _unevenly(found, rng)
    found = _thinner(found, rng)
    if not score and rng.random() < 0.1:
        tune, others = (-12.0, 0.0) if rng.random() < 0.5 else (0.0, 12.0)
        found = replace(found, pitch=found.pitch + np.where(found.tune, tune, others))
    if rng.random() < 0.12:
        found = _doubled(found, rng)
    pace = np.exp(rng.uniform(np.log(0.6), np.log(1.6)))
    return replace(
        found, onset=found.onset * pace, length=found.length * pace, keyed=found.keyed * pace
    )


def _on_grid(notes: Version, beats: Floats, rng: Generator) -> Version:
    """Put the notes on semiquavers, all of one length, as a score would have it."""
    quarters = np.interp(np.arange(0, len(beats) - 1, 0.25), np.arange(len(beats)), beats)
    places = np.arange(len(quarters))
    onset = np.round(np.interp(notes.onset, quarters, places))
    end = np.round(np.interp(notes.onset + notes.length, quarters, places))
    step = rng.uniform(0.09, 0.2)
    length = np.maximum(end - onset, 1) * step
    return replace(notes, onset=onset * step, length=length, keyed=length)


def _pedalled(notes: Version, rng: Generator) -> Version:
    """Hold the notes, or all but the tune, to the next of even times."""
    period = rng.uniform(0.8, 3.0)
    end = notes.onset + notes.length
    length = np.maximum(notes.length, np.ceil(end / period) * period - notes.onset)
    return replace(
        notes, length=np.where(notes.tune, notes.keyed, length) if rng.random() < 0.5 else length
    )


def _louder(notes: Version, rng: Generator, score: bool) -> Version:
    kind, many = rng.random(), len(notes.onset)
    loudness = notes.loudness
    if kind < (0.6 if score else 0.4):
        loudness = np.full(many, LEVEL)
    elif kind < 0.6 or score:
        loudness = loudness + rng.normal(0, 0.08, many) + rng.normal(0, 0.05) * notes.tune
    elif kind < 0.7:
        loudness = rng.permutation(loudness)
    elif kind < 0.8:
        loudness = np.where(notes.tune, loudness * rng.uniform(0.6, 1.0), loudness)
    return replace(notes, loudness=np.clip(loudness, 0.02, 1.0))


def _unevenly(notes: Version, rng: Generator) -> Version:
    many = len(notes.onset)
    if rng.random() < 0.6:
        jitter = rng.normal(0, rng.choice([0.005, 0.012, 0.02, 0.03]), many)
        notes = replace(notes, onset=notes.onset + jitter)
    if rng.random() < 0.4:
        share = np.where(notes.tune, rng.uniform(0.5, 1.0), rng.uniform(0.4, 1.0))
        share *= rng.uniform(0.85, 1.0, many)
        notes = replace(notes, length=np.maximum(notes.length * share, 0.03))
    return notes


def _thinner(notes: Version, rng: Generator) -> Version:
    kept = np.ones(len(notes.onset), dtype=np.bool_)
    if rng.random() < 0.2:
        kept &= notes.tune | (rng.random(len(kept)) > rng.uniform(0.1, 0.6))
    if rng.random() < 0.06:
        start = rng.uniform(notes.onset.min(), notes.onset.max())
        there = (notes.onset > start) & (notes.onset < start + rng.uniform(4, 15))
        kept &= notes.tune | ~there
    return notes.at(kept)


def _doubled(notes: Version, rng: Generator) -> Version:
    """Double the tune in octaves: the higher one is the tune, of the lower one nothing is asked."""
    above = rng.random() < 0.4
    extra = notes.at(np.flatnonzero(notes.tune))
    many = len(extra.onset)
    asked = np.full(many, 1.0 if above else 0.0)
    extra = replace(
        extra, onset=extra.onset + rng.normal(0, 0.008, many), weight=asked,
        pitch=extra.pitch + (12 if above else -12), tune=asked > 0,
    )  # fmt: skip
    if above:
        notes = replace(
            notes, weight=np.where(notes.tune, 0.0, notes.weight), tune=np.zeros_like(notes.tune)
        )
    return Version(
        *(np.concatenate((getattr(notes, n), getattr(extra, n))) for n in Version.__slots__)
    )


def weighed(notes: Version) -> Version:
    """Weigh by the root of the length; little far from the tune, not at all where it is doubled.

    What is likeliest in an interlude can't be learned here.
    """
    near = np.full(len(notes.onset), 0.15)
    double = np.zeros(len(near), dtype=np.bool_)
    if notes.tune.any():
        lead = np.sort(notes.onset[notes.tune])
        after = np.clip(np.searchsorted(lead, notes.onset), 0, len(lead) - 1)
        before = np.clip(after - 1, 0, None)
        far = np.minimum(abs(notes.onset - lead[before]), abs(notes.onset - lead[after]))
        near[far < 2.0] = 1.0
        key = notes.pitch * 1e6 + notes.onset
        tune = np.sort(key[notes.tune])
        double = np.searchsorted(tune, key + 0.07) > np.searchsorted(tune, key - 0.07)
    weight = np.where(double & ~notes.tune, 0.0, near * notes.weight)
    return replace(notes, weight=weight * np.sqrt(np.clip(notes.keyed, 0.05, 1.5)))


def moments(
    notes: Version, rng: Generator, many: int
) -> tuple[NDArray[np.int64], NDArray[np.int8]]:
    """Return what sounds at random moments of the tune, for notes in order of onset.

    Returns
    -------
    notes
        Shape (many, CANDIDATES): indices. Earlier tune notes are left out: the next one ends them.
    state
        The same shape: 0 nothing, 1 another pitch than the tune's, 2 the tune's.
    """
    found = np.zeros((many, CANDIDATES), dtype=np.int64)
    state = np.zeros(found.shape, dtype=np.int8)
    lead = np.flatnonzero(notes.tune)
    if not len(lead):
        return found, state
    start = notes.onset[lead]
    end = np.minimum(start + notes.keyed[lead], np.maximum(np.append(start[1:], 1e9), start + 0.01))
    passed = np.cumsum(end - start)
    at = rng.uniform(0, passed[-1], many)
    which = np.minimum(np.searchsorted(passed, at), len(lead) - 1)
    at = (end[which] - (passed[which] - at))[:, None]
    sounds = (notes.onset <= at) & (notes.onset + notes.length > at)
    sounds &= ~(notes.tune & (notes.onset < start[which][:, None]))
    sounds[np.arange(many), lead[which]] = True
    row, column = np.nonzero(sounds)
    count = sounds.sum(axis=1)
    place = np.cumsum(count)[row] - 1 - np.arange(len(row))
    few = place < CANDIDATES
    row, column, place = row[few], column[few], place[few]
    found[row, place] = column
    state[row, place] = 1 + (notes.pitch[column] == notes.pitch[lead[which]][row])
    return found, state
