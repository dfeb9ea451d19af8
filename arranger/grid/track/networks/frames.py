"""What the two networks are shown: attacks and sounding notes on evenly spaced frames.

Frames are evenly spaced in seconds (`arranger.grid.track.networks.beats_heard`) or in beats
(`arranger.grid.track.networks.bars_heard`); here they are only numbers. What an attack has falls to the two frames around
it, shared by nearness, so that its place isn't rounded away.

==============  ====================================================================
columns         an attack's, but for the last two kinds
==============  ====================================================================
8               the evidence (`evidence.COLUMNS`), against the song's mean, as log(1 + x)
2               its lowest and its highest pitch, against middle C in two octaves
3               bass drum, snare, other drums: how loud
12              pitch classes that start, as log(1 + number)
12              pitch classes that sound, as log(1 + number); no note longer than `LONGEST` seconds
1               the length of a beat, as a logarithm, where frames are parts of beats
==============  ====================================================================
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.track.evidence import COLUMNS, KICKS

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.attacks import Attacks
    from arranger.grid.track.evidence import AttackEvidence
    from arranger.grid.track.networks.layers import Frames
    from arranger.song.notes import TimedColumns

CLASSES = 12
STARTING = len(COLUMNS) + 2 + 3
"""The first column of pitch classes that start; those that sound follow."""
CHANNELS = STARTING + 2 * CLASSES + 1
LONGEST = 3.0
SNARES = (37, 38, 39, 40)
MIDDLE_C, TWO_OCTAVES = 60.0, 24.0
MOST_RELATIVE = 20.0


def frames_of(
    notes: TimedColumns,
    attacks: Attacks,
    evidence: AttackEvidence,
    at: Floats,
    sounding: tuple[Floats, Floats],
    count: int,
    beat: float,
) -> Frames:
    """Return what is heard on each frame, shape (count, CHANNELS).

    ``at``: shape (attacks,): where each attack stands, in frames, before the last of them.
    ``sounding``: where each note starts and ends, in frames; each of shape (notes,).
    ``beat``: the last column.
    """
    rows = attack_rows(notes, attacks, evidence)
    result = np.zeros((count, CHANNELS), dtype=np.float32)
    left = np.floor(at).astype(np.int64)
    share = at - left
    for column, row in enumerate(rows):
        result[:, column] = np.bincount(left, row * (1.0 - share), count)
        result[:, column] += np.bincount(left + 1, row * share, count)
    result[:, len(rows) : -1] = sounding_notes(notes, sounding, count).classes(count)
    result[:, -1] = beat
    return result


def attack_rows(notes: TimedColumns, attacks: Attacks, evidence: AttackEvidence) -> list[Floats]:
    """Return the columns of attacks, each of shape (attacks,)."""
    of, count = attacks.of_note, attacks.count
    relative = np.minimum(evidence.columns * count, MOST_RELATIVE)
    rows = list(np.log1p(relative))
    pitched = ~notes.drum
    height = (notes.pitch[pitched] - MIDDLE_C) / TWO_OCTAVES
    lowest, highest = np.full(count, 9.0), np.full(count, -9.0)
    np.minimum.at(lowest, of[pitched], height)
    np.maximum.at(highest, of[pitched], height)
    rows += [np.where(lowest < 9.0, lowest, 0.0), np.where(highest > -9.0, highest, 0.0)]
    kick, snare = np.isin(notes.pitch, KICKS), np.isin(notes.pitch, SNARES)
    for kind in (kick, snare, ~kick & ~snare):
        rows.append(np.bincount(of, notes.loudness * (kind & notes.drum), count))
    counted = np.bincount(
        of[pitched] * CLASSES + notes.pitch[pitched] % CLASSES, minlength=count * CLASSES
    )
    return rows + list(np.log1p(counted.reshape(count, CLASSES).T))


class SoundingNotes(NamedTuple):
    """Where some notes sound."""

    pitch: Ints
    first: Ints
    """The first frame of each."""
    last: Ints
    """The frame after its last."""

    def classes(self, count: int) -> Frames:
        """Return the pitch classes that sound on each frame, as log(1 + number), shape (count, CLASSES)."""
        pitch_class = self.pitch % CLASSES
        size = (count + 1) * CLASSES
        change = np.bincount(self.first * CLASSES + pitch_class, minlength=size)
        change -= np.bincount(self.last * CLASSES + pitch_class, minlength=size)
        held = np.cumsum(change.reshape(-1, CLASSES), axis=0)[:-1]
        return np.log1p(held).astype(np.float32)


def sounding_notes(
    notes: TimedColumns, places: tuple[Floats, Floats], count: int, highest: float = 127.0
) -> SoundingNotes:
    """Return where notes with a pitch sound, up to ``highest``; ``places`` as in `frames_of`."""
    start, end = places
    which = np.flatnonzero(~notes.drum & (notes.pitch <= highest))
    length = notes.end_seconds - notes.onset_seconds
    kept = LONGEST / np.maximum(length, LONGEST)
    until = start + (end - start) * kept
    first = np.minimum(np.rint(start[which]).astype(np.int64), count - 1)
    last = np.clip(np.rint(until[which]).astype(np.int64), first + 1, count)
    return SoundingNotes(notes.pitch[which], first, last)
