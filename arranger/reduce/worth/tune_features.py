"""What the notes around a note show about whether it belongs to the tune.

Conventions
-----------
- Notes are in order of onset, then pitch; drums are left out beforehand.
- A feature matrix has one row a feature (`NEAR`, `WIDE`) and one column a note, in float32, for
  whole rows are worked on at once.
- Lengths of time are seconds. The model is trained on songs played faster and slower as well, so
  that it holds at other tempos; a file without a true beat offers no better unit.
- The neighbours of a note are the `REACH` notes before and the `REACH` notes after it in this order.
  They are looked at as shifted views of one padded array: row k holds the note k places on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from arranger.song.time import TOGETHER_SECONDS

if TYPE_CHECKING:
    from typing import TypeAlias

    from numpy.typing import NDArray

    Floats: TypeAlias = NDArray[np.float32]

REACH = 14
SHORTEST = 0.02
"""Seconds; a note is taken to last at least this long."""
NEAR_WINDOWS = (0.6, 2.0, 8.0, 24.0)
"""Seconds before and after, for the averages of the first stage."""
WIDE_WINDOWS = (1.0, 4.0, 12.0, 40.0)
"""The same for the second stage, which weighs by the first."""


class Voicing(NamedTuple):
    """The notes as the features need them; each of shape (notes,), in order of onset and pitch."""

    onset: NDArray[np.float64]
    length: Floats
    pitch: Floats
    loudness: Floats


class Neighbours(NamedTuple):
    """Each neighbour (rows: 2 * REACH places, columns: notes), relative to the note itself."""

    start: Floats
    """Onset minus the note's onset, in seconds; far away where there is no neighbour."""
    stop: Floats
    length: Floats
    interval: Floats
    """Pitch minus the note's pitch."""
    louder: Floats


def voicing(
    onset: NDArray[np.float64],
    end: NDArray[np.float64],
    pitch: NDArray[np.int64],
    loudness: NDArray[np.float64],
) -> Voicing:
    """Return sorted notes as the features need them; see the module's conventions."""
    return Voicing(
        onset,
        np.maximum(end - onset, SHORTEST).astype(np.float32),
        pitch.astype(np.float32),
        loudness.astype(np.float32),
    )


def near_features(notes: Voicing, beside: Neighbours) -> dict[str, Floats]:
    """Return the features of the first stage: the note among its neighbours and in its song."""
    found = _in_song(notes)
    found |= _in_chord(notes, beside)
    found |= _in_line(notes, beside)
    return found


def wide_features(notes: Voicing, beside: Neighbours, likely: Floats) -> dict[str, Floats]:
    """Return the features of the second stage, from how likely the first holds each note."""
    likely_beside = _beside(likely, 0.0)
    found = {"likely": likely}
    found |= _against_likely_tune(notes, likely)
    found |= _rivals(notes, beside, likely_beside)
    return found


def _window_sums(onset: NDArray[np.float64], half: float, columns: Floats) -> NDArray[np.float64]:
    """Return the sums of each row of ``columns`` over the notes within ``half`` seconds."""
    low = np.searchsorted(onset, onset - half, side="left")
    high = np.searchsorted(onset, onset + half, side="right")
    running = np.zeros((len(onset) + 1, len(columns)))
    np.cumsum(columns.T, axis=0, dtype=np.float64, out=running[1:])
    return np.ascontiguousarray((running.take(high, axis=0) - running.take(low, axis=0)).T)


def _in_song(notes: Voicing) -> dict[str, Floats]:
    """Compare pitch, loudness and length with the song's and those of shorter stretches."""
    pitch, loudness = notes.pitch, notes.loudness
    log_length = np.log(notes.length)
    weight = np.sqrt(np.minimum(notes.length, 2.0))
    mean = np.dot(pitch, weight) / weight.sum()
    spread = float(np.sqrt(max(np.dot((pitch - mean) ** 2, weight) / weight.sum(), 1.0)))
    found: dict[str, Floats] = {
        "log_length": log_length,
        "pitch_song": pitch - mean,
        "pitch_song_z": (pitch - mean) / spread,
        "loud_song": loudness - loudness.mean(),
        "loud_song_z": (loudness - loudness.mean()) / max(float(loudness.std()), 0.02),
    }
    one = np.ones_like(pitch)
    lasts = float(notes.onset[-1] - notes.onset[0]) + 1.0
    found |= {
        "song_sounding": one * np.float32(notes.length.sum() / lasts),
        "song_density": one * np.float32(len(pitch) / lasts),
        "song_loud_spread": one * np.float32(loudness.std()),
    }
    centred = pitch - mean
    columns = np.stack((weight, weight * centred, weight * centred**2, one, loudness, log_length))
    for half in NEAR_WINDOWS:
        total, first, second, count, loud, logs = _window_sums(notes.onset, half, columns)
        middle = first / total
        width = np.sqrt(np.maximum(second / total - middle**2, 1.0))
        name = f"{half:g}s"
        found[f"pitch_{name}"] = (centred - middle).astype(np.float32)
        found[f"pitch_z_{name}"] = ((centred - middle) / width).astype(np.float32)
        found[f"loud_{name}"] = (loudness - loud / count).astype(np.float32)
        found[f"length_{name}"] = (log_length - logs / count).astype(np.float32)
    return found


def _beside(values: Floats, fill: float) -> Floats:
    """Return the values of the neighbours: shape (2 * REACH, notes), filled past the ends."""
    padded = np.pad(values, REACH, constant_values=fill)
    shifted = sliding_window_view(padded, len(values))
    return np.concatenate((shifted[:REACH], shifted[REACH + 1 :]))


def neighbours(notes: Voicing) -> Neighbours:
    """Return the neighbours of each note; see the module's conventions."""
    far = 1e4
    onset = (notes.onset - notes.onset[0]).astype(np.float32)
    start = _beside(onset, 0.0) - onset
    count = len(onset)
    for place in range(1, REACH + 1):
        start[REACH - place, :place] = -far
        start[REACH + place - 1, max(count - place, 0) :] = far
    length = _beside(notes.length, SHORTEST)
    return Neighbours(
        start=start,
        stop=start + length,
        length=length,
        interval=_beside(notes.pitch, 0.0) - notes.pitch,
        louder=_beside(notes.loudness, 0.0) - notes.loudness,
    )


def _in_chord(notes: Voicing, beside: Neighbours) -> dict[str, Floats]:
    """Measure what sounds above and below: when the note starts, and while it lasts."""
    start, stop, interval = beside.start, beside.stop, beside.interval
    sounding = (start <= TOGETHER_SECONDS) & (stop > TOGETHER_SECONDS)
    higher, lower = interval > 0, interval < 0
    together = np.abs(start) <= TOGETHER_SECONDS
    shared = np.minimum(stop, notes.length) - np.maximum(start, 0.0)
    shared = np.maximum(shared, 0.0) / notes.length
    above = np.where(higher, shared, 0.0)
    two_seconds = np.abs(start) < 2.0
    around = np.maximum(two_seconds.sum(axis=0), 1).astype(np.float32)
    return {
        "gap_above": np.where(sounding & higher, interval, 30.0).min(axis=0),
        "gap_below": np.where(sounding & lower, -interval, 30.0).min(axis=0),
        "gap_top": np.where(sounding, interval, 0.0).max(axis=0),
        "gap_bottom": -np.where(sounding, interval, 0.0).min(axis=0),
        "loud_sounding": -np.where(sounding, beside.louder, -1.0).max(axis=0),
        "together": together.sum(axis=0).astype(np.float32),
        "together_above": (together & higher).sum(axis=0).astype(np.float32),
        "shared_above": above.sum(axis=0),
        "shared_above_most": above.max(axis=0),
        "shared_below": np.where(lower, shared, 0.0).sum(axis=0),
        "same_band_2s": ((two_seconds & (np.abs(interval) <= 5)).sum(axis=0) / around).astype(
            np.float32
        ),
    }


def _in_line(notes: Voicing, beside: Neighbours) -> dict[str, Floats]:
    """How well the note goes on from an earlier one and into a later one, as a single line."""
    start, stop, size = beside.start, beside.stop, np.abs(beside.interval)
    found: dict[str, Floats] = {
        "since_onset": np.where(start < -TOGETHER_SECONDS, -start, 4.0).min(axis=0),
        "until_onset": np.where(start > TOGETHER_SECONDS, start, 4.0).min(axis=0),
    }
    after = (start > TOGETHER_SECONDS) & (start > 0.6 * notes.length) & (start < 8.0)
    before = (start < -TOGETHER_SECONDS) & (-start > 0.6 * beside.length) & (start > -8.0)
    gap_after = start - notes.length
    overlap_after = np.maximum(-gap_after, 0.0) / notes.length
    overlap_before = np.maximum(stop, 0.0) / beside.length
    every = np.arange(start.shape[1])
    for name, linked, gap, overlap in (
        ("next", after, gap_after, overlap_after),
        ("last", before, -stop, overlap_before),
    ):
        # in units of a leap: three semitones weigh as much as 0.3 s of silence
        effort = np.where(linked, size / 3.0 + np.abs(gap) / 0.3 + 2.0 * overlap, 20.0)
        best = effort.argmin(axis=0)
        least = effort[best, every]
        none = least >= 20.0
        found[f"{name}_effort"] = np.minimum(least, 20.0)
        found[f"{name}_interval"] = np.where(none, 0.0, beside.interval[best, every])
        found[f"{name}_gap"] = np.where(none, 3.0, gap[best, every])
        found[f"{name}_longer"] = np.where(
            none, 0.0, np.log(beside.length[best, every] / notes.length)
        )
    return found


def _against_likely_tune(notes: Voicing, likely: Floats) -> dict[str, Floats]:
    """Compare pitch, loudness and length with those of the likely tune around, the note itself left out."""
    centred = notes.pitch - notes.pitch.mean()
    log_length = np.log(notes.length)
    root = np.sqrt(notes.length)
    weight = likely**2 * np.sqrt(np.minimum(notes.length, 1.5)) + np.float32(1e-6)
    columns = np.stack(
        (
            weight,
            weight * centred,
            weight * centred**2,
            weight * notes.loudness,
            weight * log_length,
            root,
        )
    )
    found: dict[str, Floats] = {}
    for half in WIDE_WINDOWS:
        sums = _window_sums(notes.onset, half, columns) - 0.999 * columns
        total, first, second, loud, logs, roots = sums
        total = np.maximum(total, 1e-6)
        middle = first / total
        width = np.sqrt(np.maximum(second / total - middle**2, 4.0))
        name = f"{half:g}s"
        found[f"tune_pitch_{name}"] = (centred - middle).astype(np.float32)
        found[f"tune_pitch_z_{name}"] = (np.abs(centred - middle) / width).astype(np.float32)
        found[f"tune_loud_{name}"] = (notes.loudness - loud / total).astype(np.float32)
        found[f"tune_length_{name}"] = (log_length - logs / total).astype(np.float32)
        found[f"tune_share_{name}"] = (total / np.maximum(roots, 1e-6)).astype(np.float32)
    return found


def _rivals(notes: Voicing, beside: Neighbours, likely: Floats) -> dict[str, Floats]:
    """Find the likeliest other note while this one sounds, and the ones before and after."""
    start, stop, interval = beside.start, beside.stop, beside.interval
    shared = np.minimum(stop, notes.length) - np.maximum(start, 0.0)
    clashes = shared > 0.3 * np.minimum(beside.length, notes.length)
    rival = np.where(clashes, likely, 0.0)
    every = np.arange(start.shape[1])
    best = rival.argmax(axis=0)
    strongest = rival[best, every]
    found: dict[str, Floats] = {
        "rival": strongest,
        "rival_interval": np.where(strongest > 0, interval[best, every], 0.0),
        "rival_above": np.where(interval > 0, rival, 0.0).max(axis=0),
        "rival_below": np.where(interval < 0, rival, 0.0).max(axis=0),
    }
    after = (start > TOGETHER_SECONDS) & (start > 0.6 * notes.length)
    before = (start < -TOGETHER_SECONDS) & (-start > 0.6 * beside.length)
    near = np.exp(-np.abs(interval) / np.float32(8.0))
    for name, linked, gap in (("next", after, start - notes.length), ("last", before, stop)):
        ready = np.where(linked, likely * np.exp(-np.abs(gap) / np.float32(0.6)), 0.0)
        best = ready.argmax(axis=0)
        strongest = ready[best, every]
        found[f"likely_{name}"] = strongest
        found[f"likely_{name}_interval"] = np.where(strongest > 0, interval[best, every], 0.0)
        found[f"likely_{name}_near"] = (ready * near).max(axis=0)
    return found
