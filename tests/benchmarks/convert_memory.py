"""Peak memory of a conversion with all its files, by stage.

    python -m tests.benchmarks.convert_memory [NOTES ...]

A band of a tune, chords, a bass and drums plays so many notes (default 100,000 and 1,000,000) in a
MIDI file; a process of its own reads, converts and writes sheet, ledgers and page, and says after
each stage how much memory it has needed so far. Goals: 250 MB and 1,200 MB.
"""

from __future__ import annotations

import multiprocessing
import subprocess
import sys
import tempfile
from pathlib import Path

import mido

CHILD = """
import resource, sys
from pathlib import Path
from time import perf_counter
from arranger.engine import load_engine
from arranger.grid import plan_grid
from arranger.outputs import OutputChoice, write_outputs
from arranger.conversion.pipeline import convert
from arranger.settings import Settings
from arranger.song import read_song

begun = perf_counter()
def tell(stage):
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(f"  {stage:<10} {peak:>6} MB  {perf_counter() - begun:>6.1f} s", flush=True)

folder = Path(sys.argv[1])
tell("imports")
song, settings = read_song(folder / "long.mid"), Settings()
tell("read")
engine = load_engine(settings.engine)
plan_grid(song, engine, settings.grid)
tell("grid")
conversion = convert(song, engine, settings)
tell("convert")
write_outputs(conversion, "long", OutputChoice(folder=folder, audio=None))
tell("files")
"""


def band(path: Path, notes: int) -> None:
    """Write a MIDI file of so many notes: 24 a beat, in tune, chords, bass, drums."""
    file = mido.MidiFile(ticks_per_beat=96)
    scale = (60, 62, 64, 65, 67, 69, 71, 72)
    beats = notes // 24

    def line(channel: int, notes_at: list[tuple[int, int]], ticks: int) -> None:
        track = mido.MidiTrack()
        events = []
        for at, pitch in notes_at:
            events += [(at, 1, pitch), (at + ticks, 0, pitch)]
        now = 0
        for at, on, pitch in sorted(events):
            kind = "note_on" if on else "note_off"
            track.append(
                mido.Message(kind, channel=channel, note=pitch, velocity=80, time=at - now)
            )
            now = at
        file.tracks.append(track)

    line(0, [(24 * i, scale[i * i // 3 % 8] + 12) for i in range(4 * beats)], 24)
    for third in (0, 2, 4, 6):
        line(1, [(24 * i, scale[(i // 16 + third) % 8]) for i in range(4 * beats)], 20)
    line(2, [(48 * i, scale[i // 8 % 8] - 24) for i in range(2 * beats)], 48)
    line(9, [(48 * i, (36, 42, 38, 42)[i % 4]) for i in range(2 * beats)], 24)
    file.save(path)


def main() -> None:
    for notes in [int(each) for each in sys.argv[1:]] or [100_000, 1_000_000]:
        with tempfile.TemporaryDirectory() as folder:
            making = multiprocessing.Process(target=band, args=(Path(folder) / "long.mid", notes))
            making.start()  # in a process of its own: a child's peak counts what its parent had
            making.join()
            print(f"{notes:,} notes", flush=True)
            subprocess.run([sys.executable, "-c", CHILD, folder], check=True)


if __name__ == "__main__":
    main()
