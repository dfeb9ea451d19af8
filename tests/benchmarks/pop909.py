"""Songs of POP909 as the measurements need them: with tracks, without names, in one part.

Source: Wang et al., "POP909: A Pop-song Dataset for Music Arrangement Generation", ISMIR 2020; MIT
licence. The files are given as a folder on the command line; nothing of them is part of the project.
Each has the tracks MELODY, BRIDGE and PIANO. The tune is what MELODY plays, for as long as its keys
are held.
"""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from mido import MidiFile, MidiTrack

from arranger.reduce.worth.note_table import cover
from arranger.settings import ReadSettings
from arranger.song import read_song, read_song_bytes
from arranger.song.time import seconds_at
from tests.benchmarks.ear import Chord

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from arranger.song.model import Note, Song

KINDS = (
    "as-it-is", "no-names", "stuck", "flat", "flat-pedal", "flat-stuck", "flat-even", "flat-pedal-even",
    "flat-jitter", "flat-moved",
)  # fmt: skip
"""Tracks as they are; parts of equal name and program; tracks whose pedals are pressed once and never
lifted; one part; one part whose notes the sustain pedal lengthens, as it is and never lifted; one part
with all notes equally loud; that with the pedal; one part whose notes start early or late by chance
(`JITTER`); one part in another key, up to six semitones off."""
JITTER = 0.02
"""Seconds; standard deviation."""


class Truth(NamedTuple):
    """The tune in semiquaver steps of the file's own ticks."""

    pitch: NDArray[np.int64]
    """Shape (steps,): MIDI number, or -1 where the tune is silent; the highest if several."""
    ticks: int
    """Ticks a step."""


def names(folder: Path) -> list[str]:
    return sorted(path.stem for path in folder.glob("*.mid"))


def held_out(every: list[str]) -> tuple[list[str], list[str]]:
    """Return the songs to train on (two thirds) and the others, by their number."""
    train = [name for name in every if int(name) % 3]
    return train, [name for name in every if not int(name) % 3]


def song(folder: Path, name: str, kind: str, *, keys: bool = False) -> Song:
    """Return a song of a kind; ``keys``: the same notes, in the same order, without any pedal."""
    found = _read(folder, name, kind, pedal=_has_pedal(kind) and not keys)
    if kind in {"as-it-is", "stuck"}:
        return found
    if kind == "no-names":
        parts = tuple(part._replace(name="part", program=0) for part in found.parts)
        return replace(found, parts=parts)
    return flattened(found, even=kind.endswith("even"))


def _has_pedal(kind: str) -> bool:
    return not kind.startswith("flat") or "pedal" in kind or "stuck" in kind


def _read(folder: Path, name: str, kind: str, *, pedal: bool) -> Song:
    """Return the song in its parts, moved in time or key as the kind asks."""
    path, settings = folder / f"{name}.mid", ReadSettings(sustain=pedal)
    data = _stuck(path) if "stuck" in kind else path.read_bytes()
    found = read_song_bytes(data, path.name, settings)
    number = int(name)
    if kind == "flat-moved":
        moved = [note._replace(pitch=note.pitch + number % 13 - 6) for note in found.notes]
        return replace(found, notes=tuple(moved))
    if kind == "flat-jitter":
        last = max(note.onset for note in found.notes)
        ticks = JITTER * last / float(seconds_at(found, np.array([last]))[0])
        shifts = np.random.default_rng(number).normal(0.0, ticks, len(found.notes))
        moved = [
            note._replace(onset=max(note.onset + int(shift), 0))
            for note, shift in zip(found.notes, shifts, strict=True)
        ]
        return replace(found, notes=tuple(moved))
    return found


def flattened(found: Song, *, even: bool = False) -> Song:
    """Return the song with all its notes in one part."""
    notes = _by_pitch(found)
    level = 80 / 127
    one = tuple(
        note._replace(
            id=number, part=0, track=0, channel=0, loudness=level if even else note.loudness
        )
        for number, note in enumerate(notes)
    )
    part = found.parts[0]._replace(name="Piano", program=0, notes=len(one))
    return replace(found, notes=one, parts=(part,), tracks=found.tracks[:1])


def is_tune(folder: Path, name: str, kind: str) -> NDArray[np.bool_]:
    """Return for each note of `song` whether MELODY plays it, whatever part it is in now."""
    found = _read(folder, name, kind, pedal=_has_pedal(kind))
    melody = _melody(found)
    notes = _by_pitch(found) if kind.startswith("flat") else found.notes
    return np.array([note.part == melody for note in notes])


def corrected_chords(folder: Path, corrected: Path, name: str) -> list[Chord]:
    """Return the chords of the corrected song, as block chords, at the seconds of the song itself.

    Both have the same notes in another rhythm, so the nth of a pitch is the nth of that pitch.
    """
    ours = read_song(folder / f"{name}.mid", ReadSettings(sustain=False))
    theirs = read_song(corrected / f"{name}.mid", ReadSettings(sustain=False))
    chords = next(part.index for part in theirs.parts if part.name in {"chords", "MIDI 01"})
    mine, there = ours.columns, theirs.columns
    at, ticks = [], []
    for pitch in np.unique(mine.pitch):
        first, second = mine.pitch == pitch, (there.pitch == pitch) & (there.part != chords)
        if first.sum() == second.sum():
            at.append(np.sort(mine.onset[first]))
            ticks.append(np.sort(there.onset[second]))
    tick, where = np.unique(np.concatenate(ticks), return_inverse=True)
    mean = np.bincount(where, seconds_at(ours, np.concatenate(at))) / np.bincount(where)
    mean = np.maximum.accumulate(mean)
    found = []
    for onset in np.unique(there.onset[there.part == chords]):
        block = (there.part == chords) & (there.onset == onset)
        start, end = np.interp((onset, there.end[block].max()), tick, mean).tolist()
        low, classes = int(there.pitch[block].min()), frozenset((there.pitch[block] % 12).tolist())
        found.append(Chord(start, end, "X", -1, low % 12, classes))
    return found


def truth(folder: Path, name: str, kind: str = "flat") -> Truth:
    plain = _read(folder, name, kind, pedal=False)
    melody = _melody(plain)
    step = plain.ticks_per_beat // 4
    size = max(steps(plain, step)[1])
    tune = [note for note in plain.notes if note.part == melody]
    start, stop = steps(replace(plain, notes=tuple(tune)), step)
    pitch = np.array([note.pitch for note in tune], dtype=np.int64)
    return Truth(cover(start, stop, pitch, int(size)), step)


def steps(found: Song, step: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return first step and step after the last of each note, rounded; at least one step."""
    onset = np.array([note.onset for note in found.notes], dtype=np.int64)
    end = onset + np.array([note.duration for note in found.notes], dtype=np.int64)
    start = (2 * onset + step) // (2 * step)
    return start, np.maximum((2 * end + step) // (2 * step), start + 1)


def _stuck(path: Path) -> bytes:
    """Return the file with only the first press of each track's pedal."""
    file = MidiFile(path)
    for track in file.tracks:
        kept, wait, pressed = MidiTrack(), 0, False
        for message in track:
            wait += message.time
            pedal = message.type == "control_change" and message.control == 64
            if not pedal or (message.value >= 64 and not pressed):
                kept.append(message.copy(time=wait))
                pressed, wait = pressed or pedal, 0
        track[:] = kept
    found = BytesIO()
    file.save(file=found)
    return found.getvalue()


def _by_pitch(found: Song) -> list[Note]:
    return sorted(found.notes, key=lambda note: (note.onset, note.pitch))


def _melody(found: Song) -> int:
    return next(part.index for part in found.parts if part.name == "MELODY")
