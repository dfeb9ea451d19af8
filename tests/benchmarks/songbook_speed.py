"""How fast a songbook is converted, how much memory a worker takes, how cheap a second run is.

    python -m tests.benchmarks.songbook_speed [--pieces 300] [--tiny 10000] [--keep FOLDER]

Measures in one run, as ratios where it can:

1. Pieces of music21's corpus, written to MIDI, and some broken files among them: songs and notes
   per second on one and two workers, and the time on one worker against the sum of mido's bare
   parsing of the same files. Writing the pieces takes minutes; ``--keep`` keeps them for next time.
2. Tiny songs: time of the first and of a second, unchanged run; peak memory of a worker after each
   thousand; time per song as the book grows.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import time
import warnings
from pathlib import Path

import mido

from arranger.settings import Settings
from arranger.songbook import BookChoice, convert_book


def corpus_pieces(folder: Path, count: int) -> None:
    """Write pieces of music21's corpus as MIDI files; every corpus format takes its turn."""
    from music21 import converter, corpus

    from tests.benchmarks.corpus import midi_of

    paths = sorted(str(path) for path in corpus.getCorePaths())
    random.Random(1).shuffle(paths)
    written = 0
    for path in paths:
        if written == count:
            return
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                midi_of(converter.parse(path)).save(folder / f"piece{written:04}.mid")
        except Exception as error:  # noqa: BLE001 - what music21 can't write is no song of ours
            print(f"not written: {Path(path).name}: {type(error).__name__}")
            continue
        written += 1


def tiny_songs(folder: Path, count: int) -> None:
    """Write small songs of random quavers, a hundred to a folder."""
    chance = random.Random(2)
    for number in range(count):
        track = mido.MidiTrack()
        for _ in range(12):
            pitch = chance.randrange(48, 84)
            track.append(mido.Message("note_on", note=pitch, velocity=80))
            track.append(mido.Message("note_off", note=pitch, time=240))
        midi = mido.MidiFile(ticks_per_beat=480)
        midi.tracks.append(track)
        shelf = folder / f"shelf{number // 100:03}"
        shelf.mkdir(exist_ok=True)
        midi.save(shelf / f"song{number:05}.mid")


def timed_run(folder: Path, out: Path, workers: int) -> tuple[float, int, int]:
    """Return seconds, songs and notes of one run."""
    choice = BookChoice(sources=(folder,), out=out, settings=Settings(), workers=workers)
    started = time.perf_counter()
    result = convert_book(choice)
    seconds = time.perf_counter() - started
    for record in result.failed:
        print(f"failed: {record.relative}: {record.message}")
    return seconds, len(result.records), sum(record.notes for record in result.records)


def worker_memory_mb() -> float:
    """Return the peak resident memory of the largest worker so far, in MB (Linux)."""
    peaks = [0]
    for state in Path("/proc").glob("[0-9]*"):
        try:
            if b"popen_loky" in (state / "cmdline").read_bytes():
                status = (state / "status").read_text()
                peaks.append(int(status.split("VmHWM:")[1].split()[0]))
        except (OSError, IndexError):
            continue
    return max(peaks) / 1000


def break_some(folder: Path) -> None:
    """Put broken files among the pieces: each must fail, or be mended, by itself."""
    whole = (folder / "piece0000.mid").read_bytes()
    (folder / "broken-cut.mid").write_bytes(whole[: len(whole) // 2])
    (folder / "broken-header.mid").write_bytes(whole[:10])
    (folder / "broken-page.mid").write_text("<!doctype html><title>not found</title>")
    (folder / "broken-empty.mid").write_bytes(b"")
    (folder / "broken-noise.mid").write_bytes(random.Random(3).randbytes(5000))


def corpus_table(base: Path, pieces: int, kept: Path | None) -> None:
    """Print speed on corpus pieces against mido's bare parsing."""
    folder = kept or base / "pieces"
    folder.mkdir(exist_ok=True, parents=True)
    if len(list(folder.glob("piece*.mid"))) < pieces:
        corpus_pieces(folder, pieces)
    parsing = 0.0
    for path in sorted(folder.glob("piece*.mid")):
        started = time.perf_counter()
        mido.MidiFile(path)
        parsing += time.perf_counter() - started
    print(f"mido's bare parsing of {pieces} pieces: {parsing:.2f} s")
    break_some(folder)
    warm = base / "warm"
    (base / "one").mkdir()
    (base / "one" / "a.mid").write_bytes((folder / "piece0000.mid").read_bytes())
    timed_run(base / "one", warm, 2)  # workers start and import once; that is not per song
    alone = None
    for workers in (1, 2):
        seconds, songs, notes = timed_run(folder, base / f"out{workers}", workers)
        alone = alone or seconds
        print(
            f"{workers} worker(s): {seconds:.2f} s, {songs / seconds:.1f} songs/s, "
            f"{notes / seconds:.0f} notes/s, {seconds / parsing:.2f} times parsing, "
            f"speed-up {alone / seconds:.2f}"
        )


def tiny_table(base: Path, count: int) -> None:
    """Print time and memory as a book of tiny songs grows."""
    out = base / "tiny-out"
    folder = base / "tiny"
    folder.mkdir()
    tiny_songs(folder, count)
    shelves = sorted(folder.iterdir())
    parked = base / "parked"
    parked.mkdir()
    for shelf in shelves:
        shelf.rename(parked / shelf.name)
    done = 0
    for at, shelf in enumerate(sorted(parked.iterdir())):
        shelf.rename(folder / shelf.name)
        if (at + 1) % max(len(shelves) // 5, 1) == 0:
            seconds, songs, _ = timed_run(folder, out, 2)
            print(
                f"{songs} tiny songs, {songs - done} new: {seconds:.2f} s, "
                f"{1000 * seconds / (songs - done):.2f} ms a new song, "
                f"largest worker {worker_memory_mb():.0f} MB"
            )
            done = songs
    seconds, songs, _ = timed_run(folder, out, 2)
    print(f"again, unchanged: {seconds:.2f} s, {1000 * seconds / songs:.3f} ms a song")


def main() -> None:
    """Measure and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--pieces", type=int, default=300)
    words.add_argument("--tiny", type=int, default=10_000)
    words.add_argument("--keep", type=Path)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as place:
        corpus_table(Path(place), asked.pieces, asked.keep)
        tiny_table(Path(place), asked.tiny)


if __name__ == "__main__":
    main()
