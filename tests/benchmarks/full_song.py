"""A full song as sound: what the two voices' sound is compared with."""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from arranger.song.time import seconds_at
from tests.benchmarks.ear import RATE

if TYPE_CHECKING:
    from arranger.song.model import Song
    from tests.benchmarks.ear import Sound

SOUND_FONT = Path("/usr/share/sounds/sf2/default-GM.sf2")
"""Whichever General MIDI sound font is installed (Debian: timgm6mb-soundfont, fluid-soundfont-gm)."""

OVERTONES_TO = 4000.0
"""Hertz."""
FADING = 1.2
"""Seconds in which a plain note fades by a factor of e."""
LONGEST = 4.0


def fluidsynth_sound(path: Path, cache: Path) -> Sound:
    """Return a MIDI file as fluidsynth plays it, ``RATE`` samples a second; kept in a folder."""
    import soundfile

    kept = cache / f"{path.stem}.flac"
    if not kept.exists():
        cache.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=cache) as name:
            wave, mono = Path(name) / "stereo.wav", Path(name) / "mono.flac"
            options = ["-ni", "-q", "-r", str(RATE), "-o", "synth.cpu-cores=1", "-g", "0.5"]
            command: list[str | Path] = ["fluidsynth", *options, "-F", wave, SOUND_FONT, path]
            subprocess.run(command, check=True, capture_output=True)
            soundfile.write(mono, soundfile.read(wave, dtype="float32")[0].mean(axis=1), RATE)
            mono.rename(kept)
    sound: Sound = soundfile.read(kept, dtype="float32")[0]
    return sound


def plain_sound(song: Song) -> Sound:
    """Return a song as sawtooth-like tones that fade, without drums; ``RATE`` samples a second."""
    columns = song.columns
    starts = np.rint(seconds_at(song, columns.onset) * RATE).astype(np.int64)
    ends = np.rint(seconds_at(song, columns.end) * RATE).astype(np.int64)
    longest = int(LONGEST * RATE)
    time = np.arange(longest) / RATE
    fade = np.exp(-time / FADING) * np.minimum(time / 0.005, 1.0)
    waves: dict[int, Sound] = {}
    heard = np.zeros(int(ends.max()) + longest, dtype=np.float32)
    for note, start, end in zip(song.notes, starts.tolist(), ends.tolist(), strict=True):
        if note.drum:
            continue
        if note.pitch not in waves:
            hertz = 440.0 * 2 ** ((note.pitch - 69) / 12)
            overtones = range(1, max(min(int(OVERTONES_TO / hertz), 8), 1) + 1)
            wave = sum(np.sin(2 * np.pi * hertz * n * time) / n for n in overtones)
            waves[note.pitch] = (fade * wave).astype(np.float32)
        size = min(end - start, longest)
        heard[start : start + size] += np.float32(note.loudness) * waves[note.pitch][:size]
    return heard
