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
12              pitch classes that sound, as log(1 + number); no note longer than `frames.LONGEST` seconds
1               notes that end, as log(1 + number)
==============  ====================================================================
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.grid.track.evidence import COLUMNS
from arranger.grid.track.networks.frames import CLASSES, attack_rows, sounding_notes

if TYPE_CHECKING:
    from arranger.grid.attacks import Attacks
    from arranger.grid.track.evidence import AttackEvidence
    from arranger.grid.track.networks.layers import Frames
    from arranger.song.notes import TimedColumns

FRAMES_A_SECOND = 50
BEFORE = 2
"""Frames before the first attack."""
AFTER = 2 * FRAMES_A_SECOND
BANDS = 12
CHROMA = len(COLUMNS) + BANDS + 5
"""The first of the columns of pitch classes."""
CHANNELS = CHROMA + 2 * CLASSES + 1
LOWEST, BAND = 28, 6
"""The lowest pitch of the second band; semitones of a band."""


def beat_frames(notes: TimedColumns, attacks: Attacks, evidence: AttackEvidence) -> Frames:
    """Return what is heard on each frame, shape (frames, CHANNELS); frame `BEFORE` is at the first attack."""
    first = float(evidence.seconds[0]) - BEFORE / FRAMES_A_SECOND
    at = (evidence.seconds - first) * FRAMES_A_SECOND
    count = int(np.ceil(at[-1])) + AFTER
    rows = _attack_rows(notes, attacks, evidence)
    left = np.floor(at).astype(np.int64)
    share = (at - left)[:, None].astype(np.float32)
    result = np.zeros((count, CHANNELS), dtype=np.float32)
    wide = result[:, : rows.shape[1]]
    # attacks rise in time, so that few share a frame: those are added one after the other
    for begin, part in ((left, rows * (1 - share)), (left + 1, rows * share)):
        np.add.at(wide, begin, part)
    start, end = (
        (each - first) * FRAMES_A_SECOND for each in (notes.onset_seconds, notes.end_seconds)
    )
    sounding = sounding_notes(notes, (start, end), count)
    result[:, -CLASSES - 1 : -1] = sounding.classes(count)
    result[:, -1] = np.log1p(np.bincount(sounding.last, minlength=count)[:count])
    return result


def _attack_rows(notes: TimedColumns, attacks: Attacks, evidence: AttackEvidence) -> Frames:
    """Return what the other network is shown of attacks, and how loud they are in each half octave."""
    loud = notes.loudness / max(float(notes.loudness.mean()), 1e-9)
    band = np.clip((notes.pitch - LOWEST) // BAND + 1, 0, BANDS - 1)
    counted = np.bincount(attacks.of_note * BANDS + band, loud * ~notes.drum, attacks.count * BANDS)
    bands = np.log1p(counted.astype(np.float64).reshape(-1, BANDS).T)
    rows = attack_rows(notes, attacks, evidence)
    rows[len(COLUMNS) : len(COLUMNS)] = bands
    return np.stack(rows, 1).astype(np.float32)
