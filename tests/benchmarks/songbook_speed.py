"""How fast a songbook is converted, how that grows, what a second run costs, what memory is taken.

    python -m tests.benchmarks.songbook_speed FOLDER [FOLDER ...]
        [--songs 200] [--grow 500 1000 2000] [--known 10000] [--against CHECKOUT ...] [--tiny]

Of the songs of each folder other songs are made, in other keys and after more beats of silence, so
that no two are the same. All runs are of the command, so that another checkout of the program can be
measured beside this one, in the same minutes. Measured, for each folder by itself:

1. Songs a second on one worker and on two, in turns, and the processor time of a song; the same for
   each checkout of ``--against``. Goals: two workers 1.9 times one; one worker twice the program of
   the day on which that was asked for.
2. ``--grow``: time of each further song as the book grows, peak memory of the program and of its largest
   worker. Goal: both flat.
3. ``--known``: a second, unchanged run of a book of so many songs, and the size of its overview. Of
   so many the first hundreds are converted; the others are the same files under other names, which the
   index is told of. Goals: 3 s and 1.5 MB for 10,000.
4. ``--tiny``: small songs of random quavers, of which what isn't the conversion takes most.
"""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import replace
from itertools import count, islice
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import mido

from arranger.songbook.known.index import opened

if TYPE_CHECKING:
    from collections.abc import Iterator

HERE = Path(__file__).parents[2]
KEYS = range(-5, 7)
CONVERTED = 200
"""Songs of a book of many that are really converted."""


def varied(folder: Path, out: Path, songs: int) -> None:
    """Write so many songs made of those of a folder; those that are there already stay."""
    out.mkdir(exist_ok=True, parents=True)
    paths = sorted(path for path in folder.rglob("*.mid"))
    kinds = ((path, key, beats) for beats in count() for key in KEYS for path in paths)
    for number, (path, key, beats) in enumerate(islice(kinds, songs)):
        target = out / f"{number // 100:03}" / f"song{number:05}.mid"
        if target.exists():
            continue
        target.parent.mkdir(exist_ok=True)
        midi = mido.MidiFile(path, clip=True)
        for track in midi.tracks:
            for place, message in enumerate(track):
                if message.type in {"note_on", "note_off"} and message.channel != 9:
                    pitch = message.note + key
                    track[place] = message.copy(note=pitch if 0 <= pitch < 128 else message.note)
            if track:
                track[0] = track[0].copy(time=track[0].time + beats * midi.ticks_per_beat)
        midi.save(target)


def tiny(out: Path, songs: int) -> None:
    """Write small songs of random quavers, a hundred to a folder."""
    chance = random.Random(2)
    for number in range(songs):
        track = mido.MidiTrack()
        for _ in range(12):
            pitch = chance.randrange(48, 84)
            track.append(mido.Message("note_on", note=pitch, velocity=80))
            track.append(mido.Message("note_off", note=pitch, time=240))
        midi = mido.MidiFile(ticks_per_beat=480)
        midi.tracks.append(track)
        target = out / f"{number // 100:03}" / f"song{number:05}.mid"
        target.parent.mkdir(exist_ok=True, parents=True)
        midi.save(target)


class Run(NamedTuple):
    """What one run of the command took."""

    seconds: float
    processor: float
    """Seconds of processor time, of all its processes."""
    parent_mb: float
    worker_mb: float
    """Peak memory of the program and of its largest worker."""


def run(songs: Path, out: Path, workers: int, checkout: Path = HERE) -> Run:
    """Run the command; its peak memory is looked at while it goes on (Linux)."""
    words = [sys.executable, "-m", "arranger", "songbook", str(songs), "-o", str(out)]
    started = time.perf_counter()
    process = subprocess.Popen(
        [*words, "--workers", str(workers)], cwd=checkout,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    peaks: dict[int, float] = {}
    over = threading.Event()
    watcher = threading.Thread(target=watch, args=(process.pid, peaks, over))
    watcher.start()
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    seconds = time.perf_counter() - started
    over.set()
    watcher.join()
    if process.returncode not in {0, 1}:
        raise SystemExit(f"the run ended with {process.returncode}")
    workers_mb = [peak for pid, peak in peaks.items() if pid != process.pid]
    parent_mb = peaks.get(process.pid, 0.0)
    return Run(seconds, used.ru_utime + used.ru_stime, parent_mb, max(workers_mb, default=0.0))


def watch(parent: int, peaks: dict[int, float], over: threading.Event) -> None:
    """Note the peak memory of a process and of its children, in MB."""
    while not over.wait(0.3):
        for state in Path("/proc").glob("[0-9]*"):
            try:
                pid = int(state.name)
                ours = pid == parent or f"PPid:\t{parent}\n" in (state / "status").read_text()
                if ours:
                    peak = (state / "status").read_text().split("VmHWM:")[1].split()[0]
                    peaks[pid] = int(peak) / 1000
            except (OSError, IndexError):
                continue


def rates(songs: Path, place: Path, number: int, checkouts: list[Path]) -> None:
    """Print songs a second on one worker and on two, for each checkout in turn."""
    took: dict[tuple[Path, int], Run] = {}
    for turn in range(2):
        for checkout in checkouts:
            for workers in (1, 2):
                out = place / f"rate{turn}-{len(took)}-{workers}"
                found = run(songs, out, workers, checkout)
                subprocess.run(["rm", "-r", str(out)], check=True)  # many files, quickly
                best = took.get((checkout, workers), found)
                took[checkout, workers] = min(best, found)
    for checkout in checkouts:
        one, two = took[checkout, 1], took[checkout, 2]
        print(
            f"  {checkout.name}: one worker {number / one.seconds:.2f} songs/s, two "
            f"{number / two.seconds:.2f}, ratio {one.seconds / two.seconds:.2f}; processor time "
            f"{1000 * one.processor / number:.0f} and {1000 * two.processor / number:.0f} ms a song"
        )
    first = took[checkouts[0], 1]
    for checkout in checkouts[1:]:
        other = took[checkout, 1]
        print(
            f"  one worker against {checkout.name}: {other.seconds / first.seconds:.2f} times as "
            f"fast, {other.processor / first.processor:.2f} by processor time"
        )


def growth(folder: Path, songs: Path, out: Path, sizes: list[int]) -> None:
    """Print what each further song takes as a book grows."""
    before = 0
    for size in sizes:
        varied(folder, songs, size)
        found = run(songs, out, 2)
        print(
            f"  {size} songs, {size - before} new: {found.seconds:.0f} s, processor time "
            f"{1000 * found.processor / (size - before):.0f} ms a new song; program "
            f"{found.parent_mb:.0f} MB, largest worker {found.worker_mb:.0f} MB"
        )
        before = size
    found = run(songs, out, 2)
    print(f"  again, unchanged: {found.seconds:.2f} s, {found.processor:.2f} s of processor time")


def many(folder: Path, place: Path, songs: int) -> None:
    """Print what a second run of a book of very many songs takes."""
    book, out = place / "known", place / "known-out"
    varied(folder, book / "0", CONVERTED)
    run(book, out, 2)
    for copy in range(1, songs // CONVERTED):
        for base in (book, out):
            subprocess.run(["cp", "-rl", str(base / "0"), str(base / str(copy))], check=True)
    with opened(out) as index:
        for relative, known in index.known.items():
            for name in others(relative, songs // CONVERTED):
                place_of = name.removesuffix(".mid")
                made = known.made._replace(place=place_of, stamp="")
                record = replace(known.record, relative=name, place=place_of)
                index.remember(name, known._replace(made=made, record=record))
    run(book, out, 2)  # notes the times of all files
    found = min(run(book, out, 2) for _ in range(3))
    print(
        f"  {songs} songs, unchanged: {found.seconds:.2f} s, {found.processor:.2f} s of processor "
        f"time, {found.parent_mb:.0f} MB"
    )
    for name in ("songbook.csv", "songbook.json", "songbook.html"):
        print(f"  {name}: {(out / name).stat().st_size / 1e6:.2f} MB")


def others(relative: str, copies: int) -> Iterator[str]:
    """Return the other names of a song."""
    return (f"{copy}{relative.removeprefix('0')}" for copy in range(1, copies))


def main() -> None:
    """Measure and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("folders", type=Path, nargs="*")
    words.add_argument("--songs", type=int, default=200)
    words.add_argument("--grow", type=int, nargs="*", default=[])
    words.add_argument("--known", type=int, default=0)
    words.add_argument("--against", type=Path, nargs="*", default=[])
    words.add_argument("--tiny", type=int, default=0)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as name:
        for number, folder in enumerate(asked.folders):
            place = Path(name) / str(number)
            place.mkdir()
            print(folder.name)
            if asked.songs:
                varied(folder, place / "songs", asked.songs)
                checkouts = [HERE, *(path.absolute() for path in asked.against)]
                rates(place / "songs", place, asked.songs, checkouts)
            if asked.grow:
                growth(folder, place / "grow", place / "grow-out", asked.grow)
            if asked.known:
                many(folder, place, asked.known)
        if asked.tiny:
            tiny(Path(name) / "tiny", asked.tiny)
            print("tiny songs")
            rates(Path(name) / "tiny", Path(name), asked.tiny, [HERE])


if __name__ == "__main__":
    main()
