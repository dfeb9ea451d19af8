"""What the network that hears beats is shown: attacks and sounding notes, a fiftieth of a second a frame.

What an attack has falls to the two frames around it, shared by nearness, so that its place isn't rounded
away.

==============  ====================================================================
columns         an attack's, but for the last two kinds
==============  ====================================================================
8               the evidence (`evidence.COLUMNS`), against the song's mean, as log(1 + x)
12              how loud notes start in each half octave, against the song's mean, as log(1 + x)
2               its lowest and its highest pitch, against middle C in two octaves
3               bass drum, snare, other drums: how loud
12              pitch classes that start, as log(1 + number)
12              pitch classes that sound, as log(1 + number); no note longer than `LONGEST` seconds
1               notes that end, as log(1 + number)
==============  ====================================================================
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.grid.track.evidence import COLUMNS, KICKS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.columns import Bools, Floats, Ints
    from arranger.grid.attacks import Attacks
    from arranger.grid.track.evidence import Evidence
    from arranger.song.notes import TimedColumns

    Frames = NDArray[np.float32]

FRAMES_A_SECOND = 50
BEFORE = 2
"""Frames before the first attack."""
AFTER = 2 * FRAMES_A_SECOND
CLASSES, BANDS = 12, 12
CHROMA = len(COLUMNS) + BANDS + 5
"""The first of the columns of pitch classes."""
CHANNELS = CHROMA + 2 * CLASSES + 1
LOWEST, BAND = 28, 6
"""The lowest pitch of the second band; semitones of a band."""
SNARES = (37, 38, 39, 40)
LONGEST = 3.0
MIDDLE_C, TWO_OCTAVES = 60.0, 24.0
MOST_RELATIVE = 20.0


def beat_frames(notes: TimedColumns, attacks: Attacks, evidence: Evidence) -> Frames:
    """Return what is heard on each frame, shape (frames, CHANNELS); frame `BEFORE` is at the first attack."""
    first = float(evidence.seconds[0]) - BEFORE / FRAMES_A_SECOND
    at = (evidence.seconds - first) * FRAMES_A_SECOND
    count = int(np.ceil(at[-1])) + AFTER
    rows = _attack_rows(notes, attacks, evidence)
    left = np.clip(np.floor(at).astype(np.int64), 0, count - 2)
    share = np.clip(at - left, 0.0, 1.0)[:, None].astype(np.float32)
    result = np.zeros((count, CHANNELS), dtype=np.float32)
    wide = result[:, : rows.shape[1]]
    # attacks rise in time, so that few share a frame: those are added one after the other
    for begin, part in ((left, rows * (1 - share)), (left + 1, rows * share)):
        np.add.at(wide, begin, part)
    start, end = (
        (each - first) * FRAMES_A_SECOND for each in (notes.onset_seconds, notes.end_seconds)
    )
    sounding, ends = _sounding(notes, start, end, count)
    result[:, -CLASSES - 1 : -1] = sounding
    result[:, -1] = ends
    return result


def _attack_rows(notes: TimedColumns, attacks: Attacks, evidence: Evidence) -> Frames:
    of, count = attacks.of_note, attacks.count
    pitched = ~notes.drum
    loud = notes.loudness / max(float(notes.loudness.mean()), 1e-6)
    band = np.clip((notes.pitch - LOWEST) // BAND + 1, 0, BANDS - 1)
    height = (notes.pitch[pitched] - MIDDLE_C) / TWO_OCTAVES
    lowest, highest = np.full(count, 9.0), np.full(count, -9.0)
    np.minimum.at(lowest, of[pitched], height)
    np.maximum.at(highest, of[pitched], height)
    kick, snare = np.isin(notes.pitch, KICKS), np.isin(notes.pitch, SNARES)
    drums = [notes.loudness * (kind & notes.drum) for kind in (kick, snare, ~kick & ~snare)]
    columns = (
        np.log1p(np.minimum(evidence.columns * count, MOST_RELATIVE)).T,
        np.log1p(_table(of, band, loud * pitched, count, BANDS)),
        np.where(lowest < 9.0, lowest, 0.0)[:, None],
        np.where(highest > -9.0, highest, 0.0)[:, None],
        np.stack([np.bincount(of, row, count) for row in drums], 1),
        np.log1p(_table(of, notes.pitch % CLASSES, pitched.astype(np.float64), count, CLASSES)),
    )
    return np.concatenate(columns, axis=1).astype(np.float32)


def _table(row: Ints, column: Ints, worth: Floats, rows: int, columns: int) -> Floats:
    found = np.bincount(row * columns + column, worth, rows * columns).astype(np.float64)
    result: Floats = found.reshape(rows, columns)
    return result


def _sounding(notes: TimedColumns, start: Floats, end: Floats, count: int) -> tuple[Frames, Frames]:
    """Return how much of each pitch class sounds on each frame, and how many notes end on it."""
    pitched: Bools = ~notes.drum
    length = notes.end_seconds - notes.onset_seconds
    until = start + (end - start) * np.minimum(1.0, LONGEST / np.maximum(length, LONGEST))
    first = np.clip(np.rint(start[pitched]).astype(np.int64), 0, count - 1)
    last = np.clip(np.rint(until[pitched]).astype(np.int64), first + 1, count)
    pitch_class = notes.pitch[pitched] % CLASSES
    size = (count + 1) * CLASSES
    change = np.bincount(first * CLASSES + pitch_class, minlength=size)
    change -= np.bincount(last * CLASSES + pitch_class, minlength=size)
    held = np.cumsum(change.reshape(-1, CLASSES), axis=0)[:-1]
    ends = np.bincount(last, minlength=count + 1)[:count]
    return np.log1p(held).astype(np.float32), np.log1p(ends).astype(np.float32)
