"""Songs made for the songbook's tests."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import mido

if TYPE_CHECKING:
    from pathlib import Path


def write_song(path: Path, seed: int, notes: int = 12, parts: int = 2) -> None:
    """Write a small song of random quavers; the same seed writes the same notes."""
    chance = random.Random(seed)
    midi = mido.MidiFile(ticks_per_beat=96)
    for part in range(parts):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=f"part {part}")])
        for _ in range(notes):
            pitch = chance.randrange(48, 72) + 12 * (part % 3)
            track.append(mido.Message("note_on", channel=part, note=pitch, velocity=80, time=0))
            track.append(mido.Message("note_off", channel=part, note=pitch, time=48))
        midi.tracks.append(track)
    path.parent.mkdir(parents=True, exist_ok=True)
    midi.save(path)


def write_book(folder: Path, songs: int, notes: int = 12) -> None:
    """Write a folder of small songs, some of them in folders below."""
    for number in range(songs):
        write_song(folder / f"shelf{number % 3}" / f"song{number:03}.mid", number, notes)
