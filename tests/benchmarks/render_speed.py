"""Seconds of sound per second of work, against fluidsynth on the same song in the same run.

    python -m tests.benchmarks.render_speed [SONG.mid]

Needs fluidsynth and a General MIDI sound font (Debian: fluidsynth, fluid-soundfont-gm). CPU time of
one process each, best of three; fluidsynth's time to load its sound font, measured with a song of
one short note, and the time of our imports are taken off: rendering is compared with rendering.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import mido
import soundfile

SOUND_FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
DEMO = Path(__file__).parents[2] / "demo_songs" / "boat_parade.mid"
RUNS = 3

RENDER = """
import sys, time
import soundfile
from arranger.engine import load_engine
from arranger.sheet import read_sheet
from arranger.sound import render
sheet = read_sheet(sys.argv[1])
engine = load_engine(sheet.engine)
begun = time.process_time()
render(sheet, engine, sys.argv[2])
print(time.process_time() - begun)
"""


def child_seconds(command: list[str | Path]) -> float:
    """Return the CPU seconds that a command takes, best of three."""
    found = []
    for _ in range(RUNS):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, check=True, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        found.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(found)


def fluidsynth(song: Path, target: Path) -> list[str | Path]:
    """Return the command that renders a song to a 16-bit WAV file on one core."""
    options = ["-ni", "-q", "-r", "44100", "-o", "synth.cpu-cores=1"]
    return ["fluidsynth", *options, "-F", target, SOUND_FONT, song]


def main() -> None:
    song = Path(sys.argv[1]) if len(sys.argv) > 1 else DEMO
    if shutil.which("fluidsynth") is None or not SOUND_FONT.exists():
        sys.exit("needs fluidsynth and fluid-soundfont-gm")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        short = mido.MidiFile()
        short.tracks.append(
            mido.MidiTrack(
                [mido.Message("note_on", note=60), mido.Message("note_off", note=60, time=1)]
            )
        )
        short.save(folder / "short.mid")
        wav = folder / "fluidsynth.wav"
        loading = child_seconds(fluidsynth(folder / "short.mid", wav))
        whole = child_seconds(fluidsynth(song, wav))
        theirs = soundfile.info(wav).duration / (whole - loading)
        print(
            f"fluidsynth: {theirs:.0f} s of sound a second ({loading:.2f} s of loading taken off)"
        )

        for engine in ("twin-phase", "twin-counter", "pc-alternate"):
            convert = [sys.executable, "-m", "arranger", "convert", song, "-o", folder]
            subprocess.run(
                [*convert, "--engine", engine, "--no-audio", "--force"],
                check=True, capture_output=True, env=os.environ,
            )  # fmt: skip
            sheet = folder / f"{song.stem}.duet"
            wav = folder / "arranger.wav"
            spent = min(
                float(
                    subprocess.run(
                        [sys.executable, "-c", RENDER, sheet, wav],
                        check=True, capture_output=True, text=True,
                    ).stdout
                )
                for _ in range(RUNS)
            )  # fmt: skip
            ours = soundfile.info(wav).duration / spent
            print(f"{engine}: {ours:.0f} s of sound a second, {ours / theirs:.1f} times fluidsynth")


if __name__ == "__main__":
    main()
