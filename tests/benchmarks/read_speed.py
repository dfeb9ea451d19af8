"""Time reading against mido alone, as a ratio in one run.

    python tests/benchmarks/read_speed.py [FILE.mid ...]

Without files: a generated song of 4,000 notes on eight tracks. Both read the same path; the best of
many alternating runs counts, processor time of this process.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path
from random import Random

import mido

from arranger.song import read_song

RUNS = 25


def generated(folder: Path) -> Path:
    """Write a song of 4,000 notes."""
    random = Random(1)
    file = mido.MidiFile(ticks_per_beat=480)
    for channel in range(8):
        track = mido.MidiTrack()
        track.append(mido.MetaMessage("track_name", name=f"part {channel}"))
        track.append(mido.Message("program_change", channel=channel, program=8 * channel))
        for number in range(500):
            pitch = random.randrange(40, 80)
            if number % 10 == 0:
                volume = random.randrange(60, 128)
                track.append(
                    mido.Message("control_change", channel=channel, control=7, value=volume)
                )
            gap, length = random.choice((0, 120)), random.choice((120, 240))
            track.append(mido.Message("note_on", channel=channel, note=pitch, time=gap))
            track.append(mido.Message("note_off", channel=channel, note=pitch, time=length))
        file.tracks.append(track)
    path = folder / "generated.mid"
    file.save(path)
    return path


def compare(path: Path) -> None:
    best = {"mido": float("inf"), "read_song": float("inf")}
    for _ in range(RUNS):
        for name, run in (("mido", mido.MidiFile), ("read_song", read_song)):
            start = time.process_time()
            run(path)
            best[name] = min(best[name], time.process_time() - start)
    ratio = best["read_song"] / best["mido"]
    notes = len(read_song(path).notes)
    print(
        f"{path.name}: {notes} notes, mido {1e3 * best['mido']:.1f} ms, "
        f"read_song {1e3 * best['read_song']:.1f} ms, ratio {ratio:.3f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", type=Path, nargs="*")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        for path in asked.files or [generated(Path(folder))]:
            compare(path)


if __name__ == "__main__":
    main()
