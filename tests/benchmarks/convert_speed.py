"""How long a conversion takes beside bare parsing by the reference libraries.

    python -m tests.benchmarks.convert_speed

One song of about 4,000 notes (the full band of the demo, four times over) in one run:

1. Whole commands in processes of their own: ``convert`` without sound and suggestions, without
   sound, and with everything, against a bare Python that parses the file with mido: goals 4.4, and
   9.4 times with suggestions.
2. In memory, after imports: reading and converting against ``mido.MidiFile(path)``: goal at most 1.6
   times; with all files but sound and suggestions at most 3 times.
3. The same against ``music21.converter.parse``: goal at least 8 times faster.
4. Seconds of sound rendered a second, without writing a file: goal at least 400.
5. ``arranger --help`` from start to end: goal at most 0.2 s.

Each figure is processor time (user and system), the best of several tries; that of ``--help`` is
elapsed time. Modules are compiled before anything is measured, as an installed program's are.
"""

from __future__ import annotations

import compileall
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import mido

import arranger
from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.outputs import OutputChoice, write_outputs
from arranger.reduce import reduce
from arranger.report import suggestions
from arranger.settings import Settings
from arranger.song import read_song
from arranger.sound import samples

if TYPE_CHECKING:
    from collections.abc import Callable

    from arranger.conversion import Conversion

DEMO = Path(__file__).parent.parent.parent / "demo_songs" / "boat_parade.mid"
TURNS = 4


def long_song(path: Path) -> int:
    """Write the demo song several times over into one file; return its notes."""
    once = mido.MidiFile(DEMO)
    whole = max(sum(message.time for message in track) for track in once.tracks)
    whole += -whole % (4 * once.ticks_per_beat)
    song = mido.MidiFile(type=1, ticks_per_beat=once.ticks_per_beat)
    notes = 0
    for track in once.tracks:
        played = [message for message in track if message.type != "end_of_track"]
        gap = whole - sum(message.time for message in played)
        longer = mido.MidiTrack()
        for turn in range(TURNS):
            for index, message in enumerate(played):
                if message.is_meta and turn:
                    continue
                wait = gap if turn and index == 0 else 0
                longer.append(message.copy(time=message.time + wait))
                notes += message.type == "note_on"
        song.tracks.append(longer)
    song.save(path)
    return notes


def best(
    action: Callable[[], object], tries: int, clock: Callable[[], float] = time.process_time
) -> float:
    """Return the shortest time of several tries, in seconds."""
    found = []
    for _ in range(tries):
        started = clock()
        action()
        found.append(clock() - started)
    return min(found)


def children() -> float:
    """Return the processor time that ended child processes took, in seconds."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def commands(path: Path, folder: Path, tries: int = 5) -> None:
    """Print what whole commands take."""
    compileall.compile_dir(Path(arranger.__file__).parent, quiet=2)
    convert_it = ("-m", "arranger", "convert", str(path), "-o", str(folder))
    asked = {
        "python, mido": ("-c", f"import mido; mido.MidiFile({str(path)!r})"),
        "arranger --version": ("-m", "arranger", "--version"),
        "without sound, suggestions": (*convert_it, "--no-audio", "--no-suggestions"),
        "without sound": (*convert_it, "--no-audio"),
        "with everything": convert_it,
    }
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": ""}
    found = dict.fromkeys(asked, float("inf"))
    for _ in range(tries):  # in turns, so that a busy machine slows all of them
        for name, words in asked.items():
            before = children()
            run = [sys.executable, *words]
            subprocess.run(run, check=True, capture_output=True, env=environment)
            found[name] = min(found[name], children() - before)
    for name, seconds in found.items():
        times = seconds / found["python, mido"]
        print(f"{name:27} {1000 * seconds:8.1f} ms, {times:5.2f} times python, mido")


def main() -> None:
    """Measure and print."""
    from music21 import converter

    settings = Settings()
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "long.mid"
        notes = long_song(path)
        choice = OutputChoice(folder=Path(place), audio=None)

        def in_memory() -> Conversion:
            return convert(read_song(path), load_engine(settings.engine), settings)

        def whole() -> None:
            write_outputs(in_memory(), "long", choice)

        print(f"{notes} notes")
        commands(path, Path(place))
        mido_seconds = best(lambda: mido.MidiFile(path), 9)
        memory_seconds = best(in_memory, 9)
        whole_seconds = best(whole, 9)
        music21_seconds = best(lambda: converter.parse(path, forceSource=True), 2)
        song = read_song(path)
        engine = load_engine(settings.engine)
        conversion = convert(song, engine, settings)
        print(f"mido.MidiFile               {1000 * mido_seconds:8.1f} ms")
        for name, seconds in (("in memory", memory_seconds), ("with files", whole_seconds)):
            times = seconds / mido_seconds
            print(f"{name:27} {1000 * seconds:8.1f} ms, {times:5.2f} times mido")
        print(
            f"music21.converter.parse     {1000 * music21_seconds:8.1f} ms, "
            f"{music21_seconds / whole_seconds:.1f} times convert with files"
        )
        stages: tuple[tuple[str, Callable[[], object]], ...] = (
            ("read", lambda: read_song(path)),
            ("grid and reduction", lambda: convert(song, engine, settings)),
            ("reduction", lambda: reduce(song, engine, conversion.grid, settings.reduce)),
            ("writing", lambda: write_outputs(conversion, "long", choice)),
            ("loading the engine", lambda: load_engine(settings.engine)),
            ("suggestions", lambda: suggestions(conversion)),
        )
        for name, action in stages:
            print(f"  {name:25} {1000 * best(action, 5):8.1f} ms")
        sheet = conversion.sheet
        heard = sum(len(block) for block in samples(sheet, engine, sample_rate=44_100)) / 44_100
        seconds = best(lambda: list(samples(sheet, engine, sample_rate=44_100)), 3)
        print(f"sound                       {heard / seconds:8.0f} s a second ({heard:.0f} s)")
    run = [sys.executable, "-m", "arranger", "--help"]
    started = best(
        lambda: subprocess.run(run, check=True, capture_output=True), 9, time.perf_counter
    )
    print(f"arranger --help             {1000 * started:8.1f} ms")


if __name__ == "__main__":
    main()
