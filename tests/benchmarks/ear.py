"""Two plain chord recognisers: what an ear that knows nothing of ours takes for the harmony.

Constant-Q spectra, folded into twelve pitch classes, compared with the 24 major and minor triads, and
smoothed by the Viterbi algorithm. `EARS` names them:

- ``librosa``: its ``chroma_cqt`` and ``sequence.viterbi``, with mir_eval's rule for major and minor
  chords to say what is right. Nothing in it is ours but the templates.
- ``quick``: numpy and scipy only, by sparse kernels (J. Brown and M. Puckette, "An efficient algorithm
  for the calculation of a constant Q transform", 1992). For tuning.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import scipy.fft
import scipy.sparse
from scipy.signal import resample_poly

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from arranger.columns import Floats, Ints

    Sound = NDArray[np.float32]

EARS = ("librosa", "quick")
RATE = 22_050
"""Samples a second that are listened to."""
HOP = 2048
"""Samples from one frame to the next: 93 ms."""

_LOWEST = 36
"""MIDI number of the lowest note; five octaves from there."""
_OCTAVES = 5
_PARTS = 3
"""Bins a semitone."""
_SHARP = 8.0
"""By how much a frame prefers what it resembles."""
_STAYS = 0.9
"""How probably a chord goes on from a frame to the next."""
_FRAME = 16_384
"""Of the quick ear, in samples at half the rate."""
_SMALL = 0.005
"""Of its largest value, below which one of the quick ear's kernels counts as zero."""
_FRAMES_AT_ONCE = 128

_SEMITONES = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
_NAMES = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_MAJOR = {"maj", "maj7", "maj6", "7"}
_MINOR = {"min", "min7", "min6", "minmaj7"}


class Chord(NamedTuple):
    """What is played from one second to another."""

    start: float
    end: float
    label: str
    """Such as ``Bb:min7/b3``; ``X`` where there is no chord."""
    triad: int
    """0..11: major on that pitch class; 12..23: minor; -1: neither."""
    bass: int
    """Pitch class of the lowest note; -1 where there is no triad."""
    classes: frozenset[int]
    """Pitch classes of the triad."""


def read_chords(path: Path) -> list[Chord]:
    """Read annotated chords, a line each: start, end, label."""
    found = []
    for line in path.read_text(encoding="utf-8").splitlines():
        start, end, label = line.split()
        found.append(Chord(float(start), float(end), label.replace("N", "X"), *_triad(label)))
    return found


def _triad(label: str) -> tuple[int, int, frozenset[int]]:
    name, _, bass = label.partition("/")
    note, _, kind = name.partition(":")
    if kind not in _MAJOR | _MINOR:
        return -1, -1, frozenset()
    root = _SEMITONES[note[0]] + note.count("#") - note.count("b")
    above = 0
    if bass:
        degree = int(bass.lstrip("b#"))
        above = (0, 0, 2, 4, 5, 7, 9, 11)[degree] + bass.count("#") - bass.count("b")
    triad = root % 12 + 12 * (kind in _MINOR)
    return triad, (root + above) % 12, frozenset(np.flatnonzero(_triads()[triad]).tolist())


def heard_triads(sound: Sound, ear: str) -> Ints:
    """Return the triad that is heard in each frame, as in `Chord`; frame n is around n * `HOP`."""
    chroma = _librosa_chroma(sound) if ear == "librosa" else _chroma(resample_poly(sound, 1, 2))
    like = np.exp(_SHARP * (chroma @ (_triads() / np.sqrt(3.0)).T))
    like /= like.sum(axis=1, keepdims=True)
    return _librosa_path(like) if ear == "librosa" else _path(np.log(like))


def share_right(chords: Sequence[Chord], triads: Ints, ear: str) -> float:
    """Return the share of the triads' time in which the right one is heard."""
    if ear == "librosa":
        return _mir_eval_score(chords, triads)
    seconds = np.arange(len(triads)) * (HOP / RATE)
    right = total = 0
    for chord in chords:
        if chord.triad >= 0:
            first, last = np.searchsorted(seconds, (chord.start, chord.end))
            right += int(np.count_nonzero(triads[first:last] == chord.triad))
            total += int(last - first)
    return right / max(total, 1)


def _mir_eval_score(chords: Sequence[Chord], triads: Ints) -> float:
    """Return the weighted accuracy by ``mir_eval.chord.majmin``, time without a chord left out."""
    from mir_eval.chord import majmin, weighted_accuracy
    from mir_eval.util import adjust_intervals, intervals_to_durations, merge_labeled_intervals

    changes = np.flatnonzero(np.diff(triads, prepend=-1))
    bounds = np.append((changes - 0.5), len(triads)) * (HOP / RATE)
    heard = [f"{_NAMES[triads[at] % 12]}:{'maj' if triads[at] < 12 else 'min'}" for at in changes]
    asked = np.array([(chord.start, chord.end) for chord in chords])
    bounds[0] = 0.0
    ours, heard = adjust_intervals(
        np.column_stack((bounds[:-1], bounds[1:])), heard, asked.min(), asked.max(), "N", "N"
    )
    both, right, heard = merge_labeled_intervals(asked, [c.label for c in chords], ours, heard)
    return float(weighted_accuracy(majmin(right, heard), intervals_to_durations(both)))


def _librosa_chroma(sound: Sound) -> Floats:
    """Return pitch classes, shape (frames, 12), each frame of length 1 or silent."""
    import librosa

    chroma: Floats = librosa.feature.chroma_cqt(
        y=sound, sr=RATE, hop_length=HOP, fmin=librosa.midi_to_hz(_LOWEST), n_octaves=_OCTAVES,
        bins_per_octave=12 * _PARTS, norm=2, tuning=0.0,
    ).T  # fmt: skip
    return chroma


def _librosa_path(like: Floats) -> Ints:
    import librosa

    stay = librosa.sequence.transition_loop(24, _STAYS)
    path: Ints = librosa.sequence.viterbi(like.T, stay).astype(np.int64)
    return path


def _path(like: Floats) -> Ints:
    """Return the likeliest triads, from the logarithm of how likely each is, shape (frames, 24)."""
    stay, go = np.log(_STAYS), np.log((1 - _STAYS) / 23)
    came = np.empty(like.shape, dtype=np.int64)
    itself = np.arange(24)
    score = like[0]
    for frame, now in enumerate(like):
        best = int(score.argmax())
        stays = score + stay >= score[best] + go
        came[frame] = np.where(stays, itself, best)
        score = np.where(stays, score + stay, score[best] + go) + now
    path = np.empty(len(like), dtype=np.int64)
    state = int(score.argmax())
    for frame in range(len(like) - 1, -1, -1):
        path[frame] = state
        state = int(came[frame, state])
    return path


@cache
def _triads() -> Floats:
    shapes = [(0, 4, 7), (0, 3, 7)]
    return np.array(
        [np.roll(np.isin(np.arange(12), shape), root) for shape in shapes for root in range(12)],
        dtype=np.float64,
    )


def _chroma(sound: Sound) -> Floats:
    """Return pitch classes, shape (frames, 12), each frame of length 1 or silent."""
    kernels = _kernels()
    padded = np.pad(sound, (_FRAME // 2, _FRAME // 2))
    frames = np.lib.stride_tricks.sliding_window_view(padded, _FRAME)[:: HOP // 2]
    found = np.empty((len(frames), 12))
    for start in range(0, len(frames), _FRAMES_AT_ONCE):
        spectra = scipy.fft.rfft(frames[start : start + _FRAMES_AT_ONCE], axis=1)
        bins = np.abs((kernels @ spectra.T).T)
        notes = bins.reshape(len(bins), _OCTAVES, 12, _PARTS)
        found[start : start + _FRAMES_AT_ONCE] = notes.sum(axis=(1, 3))
    length = np.linalg.norm(found, axis=1, keepdims=True)
    chroma: Floats = found / np.maximum(length, 1e-9)
    return chroma


@cache
def _kernels() -> scipy.sparse.csr_array:
    """Return kernels over spectra, shape (bins, frequencies), orthonormal but for their overlap."""
    quality = 1 / (2 ** (1 / (12 * _PARTS)) - 1)
    rows = []
    for index in range(_OCTAVES * 12 * _PARTS):
        note = _LOWEST + (index - _PARTS // 2) / _PARTS
        frequency = 440.0 * 2 ** ((note - 69) / 12)
        size = int(quality * RATE / 2 / frequency)
        time = np.arange(size) - size // 2
        wave = np.hanning(size) * np.exp(2j * np.pi * frequency / (RATE / 2) * time) / np.sqrt(size)
        kernel = np.zeros(_FRAME, dtype=np.complex128)
        kernel[_FRAME // 2 + time] = wave
        spectrum = np.conj(np.fft.fft(kernel)[: _FRAME // 2 + 1])
        spectrum[np.abs(spectrum) < _SMALL * np.abs(spectrum).max()] = 0
        rows.append(spectrum.astype(np.complex64))
    return scipy.sparse.csr_array(np.array(rows))
