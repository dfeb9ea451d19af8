"""A plain chord recogniser: what an ear that knows nothing of ours takes for the harmony.

Constant-Q spectra by sparse kernels (J. Brown and M. Puckette, "An efficient algorithm for the
calculation of a constant Q transform", 1992), folded into twelve pitch classes, compared with the 24
major and minor triads, and smoothed by the Viterbi algorithm.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import scipy.fft
import scipy.sparse

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from arranger.columns import Floats, Ints

    Sound = NDArray[np.float32]

RATE = 11_025
"""Samples a second that are listened to."""
HOP = 1024
"""Samples from one frame to the next: 93 ms."""

_FRAME = 16_384
_LOWEST = 36
"""MIDI number of the lowest note; five octaves from there."""
_OCTAVES = 5
_PARTS = 3
"""Bins a semitone."""
_SMALL = 0.005
"""Of its largest value, below which a kernel counts as zero."""
_SHARP = 8.0
"""By how much a frame prefers what it resembles."""
_STAYS = 0.9
"""How probably a chord goes on from a frame to the next."""
_FRAMES_AT_ONCE = 128

_SEMITONES = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
_MAJOR = {"maj", "maj7", "maj6", "7"}
_MINOR = {"min", "min7", "min6", "minmaj7"}


class Chord(NamedTuple):
    """What is played from one second to another."""

    start: float
    end: float
    triad: int
    """0..11: major on that pitch class; 12..23: minor."""
    bass: int
    """Pitch class of the lowest note."""

    @property
    def classes(self) -> set[int]:
        """The three pitch classes."""
        return {int(c) for c in np.flatnonzero(_triads()[self.triad])}


def read_chords(path: Path) -> list[Chord]:
    """Read annotated chords, a line each: start, end, label such as ``Bb:min7/b3``.

    What is neither major nor minor (no chord, suspended, diminished, augmented) is left out.
    """
    found = []
    for line in path.read_text(encoding="utf-8").splitlines():
        start, end, label = line.split()
        name, _, bass = label.partition("/")
        note, _, kind = name.partition(":")
        if kind not in _MAJOR | _MINOR:
            continue
        root = _SEMITONES[note[0]] + note.count("#") - note.count("b")
        above = 0
        if bass:
            degree = int(bass.lstrip("b#"))
            above = (0, 0, 2, 4, 5, 7, 9, 11)[degree] + bass.count("#") - bass.count("b")
        triad = root % 12 + 12 * (kind in _MINOR)
        found.append(Chord(float(start), float(end), triad, (root + above) % 12))
    return found


def heard_triads(sound: Sound) -> Ints:
    """Return the triad that is heard in each frame, as in `Chord`; frame n is around n * `HOP`."""
    like = _SHARP * (_chroma(sound) @ (_triads() / np.sqrt(3.0)).T)
    like -= np.log(np.exp(like).sum(axis=1, keepdims=True))
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


def share_right(chords: list[Chord], triads: Ints) -> float:
    """Return the share of the chords' time in which the right triad is heard."""
    seconds = np.arange(len(triads)) * (HOP / RATE)
    right = total = 0
    for chord in chords:
        first, last = np.searchsorted(seconds, (chord.start, chord.end))
        right += int(np.count_nonzero(triads[first:last] == chord.triad))
        total += int(last - first)
    return right / max(total, 1)


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
    frames = np.lib.stride_tricks.sliding_window_view(padded, _FRAME)[::HOP]
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
        size = int(quality * RATE / frequency)
        time = np.arange(size) - size // 2
        wave = np.hanning(size) * np.exp(2j * np.pi * frequency / RATE * time) / np.sqrt(size)
        kernel = np.zeros(_FRAME, dtype=np.complex128)
        kernel[_FRAME // 2 + time] = wave
        spectrum = np.conj(np.fft.fft(kernel)[: _FRAME // 2 + 1])
        spectrum[np.abs(spectrum) < _SMALL * np.abs(spectrum).max()] = 0
        rows.append(spectrum.astype(np.complex64))
    return scipy.sparse.csr_array(np.array(rows))
