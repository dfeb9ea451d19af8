"""How much of the harmony an outside ear hears, and what it does to the tune, as a table.

    python -m tests.benchmarks.harmony_ear FOLDER [--every N] [--offset K] [--most N] [--texture T ...]
        [--kind KIND] [--engine E] [--cost TERM=WEIGHT ...] [--json FILE] [--each]

FOLDER holds POP909 (see `tests.benchmarks.pop909`) with the annotated chords, ``NNN.chords.txt``; every
Nth song from the Kth on is measured. `tests.benchmarks.ear` listens. Means over songs of:

- ``right``: the share of the time of major and minor chords in which the right one is heard; ``full``
  is the whole song, plainly rendered, ``outer`` its highest and lowest note on the steps of the sheet
  played by the engine, and the lines below our sheets, played exactly. ``of full``: as a share.
- ``tones``: of the three tones of a chord, those that a voice has while it lasts. ``bass``: chords
  whose lowest tone heard is the annotated bass.
- ``tune``: the share of the tune's time that is heard in a voice; ``v1`` in voice 1.
- ``seconds``: what the song took with this texture, conversion and listening.
- ``swaps``: how often a bar the tune goes over to the other voice; ``leaps``: tones of voice 1 that
  leap by more than an octave, a bar; ``scraps``: as in `tests.benchmarks.voice_lines`, a bar.

Goals: ``of full`` 0.95, ``tune`` 0.985, ``tones`` 0.93, ``bass`` 0.90.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

import numpy as np

from arranger.conversion import Conversion, convert
from arranger.engine import load_engine
from arranger.rows import HOLD, REST, tones
from arranger.settings import TEXTURES, Settings
from arranger.song.time import seconds_at
from arranger.sound.audio import samples
from tests.benchmarks import pop909
from tests.benchmarks.ear import RATE, Chord, heard_triads, read_chords, share_right
from tests.benchmarks.lines import sounding
from tests.benchmarks.voice_lines import OF, line_figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.engine.model import Engine
    from arranger.rows import Row
    from arranger.sheet.model import Sheet
    from arranger.song.model import Song
    from tests.benchmarks.ear import Sound

OVERTONES_TO = 4000.0
"""Hertz."""
FADING = 1.2
"""Seconds in which a note of the full song fades by a factor of e."""
LONGEST = 4.0
SHOWN = {"tune", "v1", "swaps", "leaps", "scraps"}

Figures = dict[str, float]


def plain_sound(song: Song) -> Sound:
    """Return the song as sawtooth-like tones that fade, without drums; ``RATE`` samples a second."""
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


def played(sheet: Sheet, engine: Engine) -> Sound:
    return np.concatenate(list(samples(sheet, engine, RATE)))


def outer_rows(conversion: Conversion) -> tuple[Row, Row]:
    """Return the highest and the lowest note of each step, in the engine's range."""
    song, entries = conversion.song, conversion.engine.pitches
    low, high = min(entries), max(entries)
    rows: tuple[list[int], list[int]] = ([], [])
    before = [-1, -1]
    for ids in sounding(conversion):
        order = sorted(ids, key=lambda i: song.notes[i].pitch)
        for row, note, which in zip(rows, (order[-1:], order[:1]), (0, 1), strict=True):
            now = note[0] if note else -1
            pitch = song.notes[now].pitch + conversion.reduction.ledger.transpose
            pitch += 12 * max(-(-(low - pitch) // 12), 0) - 12 * max(-(-(pitch - high) // 12), 0)
            row.append(REST if now < 0 else HOLD if now == before[which] else pitch)
            before[which] = now
    return tuple(rows[0]), tuple(rows[1])


def on_sheet(chords: Sequence[Chord], conversion: Conversion) -> list[Chord]:
    """Return the chords at the seconds, and in the key, in which the sheet plays them."""
    grid = conversion.grid
    placed = np.flatnonzero(grid.onset_steps >= 0)
    at, first = np.unique(
        seconds_at(conversion.song, conversion.song.columns.onset[placed]), return_index=True
    )
    there = np.maximum.accumulate(grid.positions[placed][first]) * grid.step_length.seconds
    up = conversion.reduction.ledger.transpose
    found = []
    for start, end, triad, bass in chords:
        start, end = np.interp((start, end), at, there).tolist()
        found.append(Chord(start, end, (triad + up) % 12 + 12 * (triad >= 12), (bass + up) % 12))
    return found


def by_span(chords: Sequence[Chord], conversion: Conversion) -> Figures:
    """Return how many of the chords' tones, and of their basses, the rows have."""
    rows = [tones(row) for row in (conversion.reduction.voice1, conversion.reduction.voice2)]
    found, right = [], []
    for chord in chords:
        first, last = (
            round(s / conversion.grid.step_length.seconds) for s in (chord.start, chord.end)
        )
        heard = {p for row in rows for p in row[first:last] if p is not None}
        if heard:
            found.append(len(chord.classes & {p % 12 for p in heard}) / 3)
            right.append(min(heard) % 12 == chord.bass)
    return {"tones": float(np.mean(found)), "bass": float(np.mean(right))}


def of_tune(conversion: Conversion, is_tune: Sequence[bool]) -> Figures:
    """Return how much of the tune is heard, and how steadily."""
    found = line_figures(conversion, np.asarray(is_tune))
    return {name: found[name] / found[of] for name, of in OF.items() if name in SHOWN}


def measure(
    folder: Path, name: str, kind: str, engine: Engine, every: dict[str, Settings]
) -> dict[str, Figures]:
    """Return the figures of a song by what is listened to."""
    song = pop909.song(folder, name, kind)
    is_tune = pop909.is_tune(folder, name, kind).tolist()
    chords = read_chords(folder / f"{name}.chords.txt")
    full = share_right(chords, heard_triads(plain_sound(song)))
    found = {"full": {"right": full, "of full": 1.0}}
    for texture, settings in every.items():
        begun = perf_counter()
        conversion = convert(song, engine, settings)
        sheets = {texture: conversion.sheet}
        there = on_sheet(chords, conversion)
        if "outer" not in found:
            high, low = outer_rows(conversion)
            bare = (None,) * conversion.sheet.steps
            sheets["outer"] = replace(conversion.sheet, voice1=high, voice2=low, drums=bare)
        for key, sheet in sheets.items():
            right = share_right(there, heard_triads(played(sheet, engine)))
            found[key] = {"right": right, "of full": right / max(full, 1e-9)}
        found[texture] |= by_span(there, conversion) | of_tune(conversion, is_tune)
        found[texture]["seconds"] = perf_counter() - begun
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--offset", type=int, default=0)
    parser.add_argument("--most", type=int, default=1000)
    parser.add_argument("--engine", default="twin-phase")
    parser.add_argument("--kind", choices=pop909.KINDS, default="as-it-is")
    parser.add_argument("--texture", action="append", choices=TEXTURES)
    parser.add_argument("--cost", action="append", default=[], metavar="TERM=WEIGHT")
    parser.add_argument("--json", type=Path, help="the figures of every song")
    parser.add_argument("--each", action="store_true", help="a line for every song")
    given = parser.parse_args()
    costs = {term: float(weight) for term, weight in (c.split("=") for c in given.cost)}
    plain = Settings(engine=given.engine)
    every = {
        texture: replace(plain, reduce=replace(plain.reduce, costs=costs, texture=texture))
        for texture in given.texture or [plain.reduce.texture]
    }
    songs: dict[str, dict[str, Figures]] = {}
    for name in pop909.names(given.folder)[given.offset :: given.every][: given.most]:
        engine = load_engine(given.engine)
        songs[name] = measure(given.folder, name, given.kind, engine, every)
        if given.each:
            _table(name, [songs[name]])
    _table(f"mean of {len(songs)}", list(songs.values()))
    if given.json is not None:
        given.json.write_text(json.dumps(songs, indent=1), encoding="utf-8")


def _table(label: str, songs: list[dict[str, Figures]]) -> None:
    for key in songs[0]:
        means = {name: np.mean([song[key][name] for song in songs]) for name in songs[0][key]}
        cells = "".join(f"  {name} {value:.3f}" for name, value in means.items())
        print(f"{label:12} {key:14}{cells}", flush=True)


if __name__ == "__main__":
    main()
