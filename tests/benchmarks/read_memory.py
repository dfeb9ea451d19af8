"""Measure the memory that reading and the grid take, on generated songs with drums.

    python tests/benchmarks/read_memory.py [NOTES ...]

For each number of notes (100,000 and 1,000,000 unless told) a song of eight tracks is written: six
lines, a piano with chords and pedal, and drums; controllers on all of them. A fresh process reads
it, another also plans its grid. Reported: seconds, and the most memory that the process had. Goal:
500 MB for reading 1,000,000 notes.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from random import Random

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

TICKS = 480
ON, OFF, CONTROL, PROGRAM = 0x90, 0x80, 0xB0, 0xC0
STROKES = (36, 42, 38, 42)


def song_bytes(notes: int, seed: int = 1) -> bytes:
    """Return a MIDI file of about so many notes."""
    random = Random(seed)
    tracks = [_line(random, channel, notes // 8) for channel in range(6)]
    tracks += [_chords(random, 6, notes // 8), _drums(random, notes // 8)]
    head = b"".join(word.to_bytes(2) for word in (1, len(tracks), TICKS))
    return b"MThd\0\0\0\6" + head + b"".join(_chunk(track) for track in tracks)


Events = list[tuple[int, int, bytes]]
"""Tick, order within it, message."""


def _line(random: Random, channel: int, notes: int) -> Events:
    pitch = 40 + 6 * channel
    events = [(0, 0, bytes((PROGRAM | channel, 8 * channel)))]
    for number in range(notes):
        tick = number * TICKS // 4
        pitch = min(max(pitch + random.randint(-4, 4), 30), 90)
        velocity = random.randint(50, 110)
        if number % 16 == 0:
            events.append((tick, 1, bytes((CONTROL | channel, 11, random.randint(80, 127)))))
        events.append((tick, 2, bytes((ON | channel, pitch, velocity))))
        length = random.choice((60, 110, 120, 200))
        events.append((tick + length, 0, bytes((OFF | channel, pitch, 64))))
    return events


def _chords(random: Random, channel: int, notes: int) -> Events:
    events: Events = []
    for number in range(notes // 4):
        tick = number * TICKS
        events.append((tick, 0, bytes((CONTROL | channel, 64, 0))))
        events.append((tick + 10, 1, bytes((CONTROL | channel, 64, 127))))
        root = random.randint(45, 60)
        for above in (0, 4, 7, 12):
            events.append((tick, 2, bytes((ON | channel, root + above, 80))))
            events.append((tick + 300, 0, bytes((OFF | channel, root + above, 64))))
    return events


def _drums(random: Random, notes: int) -> Events:
    events: Events = []
    for number in range(notes):
        tick, key = number * TICKS // 4, STROKES[number % len(STROKES)]
        events.append((tick, 2, bytes((ON | 9, key, random.randint(60, 120)))))
        events.append((tick + 60, 0, bytes((OFF | 9, key, 64))))
    return events


def _chunk(events: Events) -> bytes:
    from arranger.song.midi.syntax import encode_quantity

    events.sort()
    body = bytearray()
    before = 0
    for tick, _order, message in events:
        body += encode_quantity(tick - before) + message
        before = tick
    body += b"\0\xff\x2f\0"
    return b"MTrk" + len(body).to_bytes(4) + bytes(body)


def measure(path: Path, stage: str) -> None:
    """Do one stage in this process and say what it took."""
    from arranger.engine import load_engine
    from arranger.grid import plan_grid
    from arranger.settings import GridSettings, ReadSettings
    from arranger.song import read_song

    start = time.process_time()
    song = read_song(path, ReadSettings(max_beats=10_000_000))
    if stage == "grid":
        plan_grid(song, load_engine("twin-phase"), GridSettings(max_steps=10_000_000))
    seconds = time.process_time() - start
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{len(song.notes):>9,} notes, {stage:4}: {seconds:6.2f} s, {memory:6.0f} MB at most")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("notes", type=int, nargs="*")
    parser.add_argument("--stage", choices=("read", "grid"), help=argparse.SUPPRESS)
    parser.add_argument("--file", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.stage:
        measure(asked.file, asked.stage)
        return
    with tempfile.TemporaryDirectory() as folder:
        for count in asked.notes or (100_000, 1_000_000):
            path = Path(folder) / "song.mid"
            path.write_bytes(song_bytes(count))
            for stage in ("read", "grid"):
                command = [sys.executable, __file__, "--stage", stage, "--file", str(path)]
                subprocess.run(command, check=True)


if __name__ == "__main__":
    main()
