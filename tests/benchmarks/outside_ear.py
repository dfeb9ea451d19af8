"""What an outside ear hears of the harmony, and what became of the tune, as a table.

    python -m tests.benchmarks.outside_ear FOLDER [--corrected FOLDER] [--kind KIND] [--texture T ...]
        [--every N] [--offset K] [--most N] [--jobs N] [--ear librosa|quick] [--sounds FOLDER] [--toy]
        [--engine E] [--cost TERM=WEIGHT ...] [--each] [--json FILE] [--against FILE]

FOLDER holds POP909 (see `tests.benchmarks.pop909`) with the annotated chords, ``NNN.chords.txt``, or any
MIDI files, of which only what needs no annotation is measured. Every Nth song from the Kth on is taken.
Means over songs. Two voices are played by the engine; `tests.benchmarks.ear` listens:

- ``right``: the share of the time of major and minor chords in which the right one is heard; ``full``
  is the whole song as fluidsynth plays it (kept in the folder ``--sounds``; without one as plain tones,
  which are heard better by .04), ``outer`` its highest and lowest note. ``of full``: as a share of that.
  Goal 0.95. Of two voices both ears say the same: r > .999 over 24 songs, .004 apart.
- ``tones``, ``bass``: of the tones of a chord, those that a voice has while it lasts, goal 0.93; chords
  whose lowest tone heard is the annotated bass, goal 0.90. ``cl tones``, ``cl bass``: by the corrected
  chords of the folder ``--corrected`` (POP909-CL, arXiv 2510.06528), with all their tones.
- ``tune``: the share of the tune's time that is heard in a voice, goal 0.985 with tracks and 0.93
  flattened; ``v1`` in voice 1. A bar: ``swaps``, how often the tune goes over to the other voice, goal
  0.02; ``scraps``, tones of voice 1 that are alone between two of the tune and more than five semitones
  from both, goal 0.05; ``leaps`` of voice 1 by more than an octave.
- ``pedal``: time in which voice 2 has a tone whose key has been up for over a bar, from when it came up,
  goal 0.03; ``long``: time in tones of voice 2 of four beats or more. ``turns``: time in runs of three
  or more of its tones of up to 250 ms, ``turn ms`` their median length (fused up to about 160).
- ``tops``: of all ``chords`` that the tune's part strikes, those whose top voice 1 doesn't start, goal
  0.05 in songs with many parts; which part has the tune when is taken from our own weights.
- ``bytes``: a minute, without the player. ``ms/4000``: processor time of the reduction, for so many notes.

``--toy`` adds the rule of `tests.benchmarks.turning_toy` as a row: what turns can get.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from functools import partial
from multiprocessing import Pool
from pathlib import Path
from time import process_time
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.conversion import Conversion, convert, measure_of
from arranger.engine import load_engine
from arranger.machine.size import song_bytes
from arranger.reduce import reduce
from arranger.settings import TEXTURES, ReadSettings, Settings
from arranger.song import read_song
from arranger.sound.audio import raw_samples
from tests.benchmarks import pop909
from tests.benchmarks.drum_figures import tune_tops
from tests.benchmarks.ear import EARS, RATE, Chord, heard_triads, read_chords, share_right
from tests.benchmarks.full_song import fluidsynth_sound, plain_sound
from tests.benchmarks.turning_toy import toy_rows
from tests.benchmarks.voice_figures import (
    of_chords,
    of_tops,
    of_tune,
    of_voice2,
    outer_rows,
    steps_at,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from arranger.columns import Bools, Ints
    from arranger.rows import Row
    from arranger.sheet.model import Sheet
    from tests.benchmarks.ear import Sound
    from tests.benchmarks.voice_figures import Figures

    Songs = Mapping[str, Mapping[str, Figures]]
    """By song and by what is listened to."""

WORST = 4
"""Songs that ``--against`` names for each figure."""
LOW_IS_GOOD = {"swaps", "scraps", "leaps", "pedal", "long", "tops", "bytes", "ms/4000"}


class Ask(NamedTuple):
    """What is measured of each song."""

    folder: Path
    corrected: Path | None
    kind: str
    engine: str
    every: Mapping[str, Settings]
    ear: str
    sounds: Path | None
    toy: bool


def played(sheet: Sheet, conversion: Conversion, rows: tuple[Row, Row]) -> Sound:
    """Return two rows without drums, on the steps of a sheet, as the engine plays them."""
    bare = replace(sheet, voice1=rows[0], voice2=rows[1], drums=(None,) * sheet.steps)
    return np.concatenate(list(raw_samples(bare, conversion.engine, RATE)))


def on_sheet(chords: Sequence[Chord], conversion: Conversion) -> list[Chord]:
    """Return the chords at the seconds in which the sheet plays them."""
    seconds = np.array([(chord.start, chord.end) for chord in chords])
    steps = np.maximum(steps_at(conversion, seconds), 0.0)
    pairs = (steps * conversion.grid.step_length.seconds).tolist()
    moved = (
        chord._replace(start=start, end=end)
        for chord, (start, end) in zip(chords, pairs, strict=True)
    )
    return [chord for chord in moved if chord.end > chord.start]


def measure(name: str, ask: Ask) -> dict[str, Figures]:
    """Return the figures of a song by what is listened to."""
    annotated = (ask.folder / f"{name}.chords.txt").exists()
    engine = load_engine(ask.engine)
    if annotated:
        song = pop909.song(ask.folder, name, ask.kind)
        keys = pop909.song(ask.folder, name, ask.kind, keys=True)
        is_tune = pop909.is_tune(ask.folder, name, ask.kind)
    else:
        path = ask.folder / f"{name}.mid"
        song, keys = read_song(path), read_song(path, ReadSettings(sustain=False))
    found: dict[str, Figures] = {}
    for texture, settings in ask.every.items():
        conversion = convert(song, engine, settings)
        if not annotated:
            is_tune = np.zeros(len(song.notes), dtype=np.bool_)
            is_tune[tune_tops(conversion)] = True
        found[texture] = {
            **of_tune(conversion, is_tune),
            **of_voice2(conversion, keys.columns.end),
            **of_tops(conversion),
            "bytes": song_bytes(conversion.sheet, engine) / _minutes(conversion),
            "ms/4000": _reduction_seconds(conversion) * 4e6 / len(song.notes),
        }
        if annotated:
            other = (
                {}
                if len(found) > 1
                else _others(conversion, is_tune, keys.columns.end if ask.toy else None)
            )
            _listen(name, ask, conversion, found, texture, other)
    return found


def _others(
    conversion: Conversion, is_tune: Bools, key_ends: Ints | None
) -> dict[str, tuple[Row, Row]]:
    """Return what our voices are compared with; the toy only if it is told when keys come up."""
    found = {"outer": outer_rows(conversion)}
    if key_ends is not None:
        found["toy"] = toy_rows(conversion, is_tune, key_ends)
    return found


def _listen(
    name: str, ask: Ask, conversion: Conversion, found: dict[str, Figures], texture: str,
    others: Mapping[str, tuple[Row, Row]],
) -> None:  # fmt: skip
    """Add what is heard of the chords to the figures of a texture and of what it is compared with."""
    chords = read_chords(ask.folder / f"{name}.chords.txt")
    if "full" not in found:
        sound = (
            plain_sound(conversion.song)
            if ask.sounds is None
            else fluidsynth_sound(ask.folder / f"{name}.mid", ask.sounds)
        )
        right = share_right(chords, heard_triads(sound, ask.ear), ask.ear)
        found["full"] = {"right": right, "of full": 1.0}
    there = on_sheet(chords, conversion)
    corrected = [] if ask.corrected is None else on_sheet(
        pop909.corrected_chords(ask.folder, ask.corrected, name), conversion
    )  # fmt: skip
    seconds = conversion.grid.step_length.seconds
    own = conversion.reduction.voice1, conversion.reduction.voice2
    for key, rows in {texture: own, **others}.items():
        sound = played(conversion.sheet, conversion, rows)
        right = share_right(there, heard_triads(sound, ask.ear), ask.ear)
        heard = {"right": right, "of full": right / max(found["full"]["right"], 1e-9)}
        heard |= of_chords(there, rows, seconds)
        by = of_chords(corrected, rows, seconds)
        heard |= {f"cl {figure}": value for figure, value in by.items() if corrected}
        found[key] = heard | found.get(key, {})


def _minutes(conversion: Conversion) -> float:
    return conversion.grid.steps * conversion.grid.step_length.seconds / 60


def _reduction_seconds(conversion: Conversion) -> float:
    """Return what processor time the reduction takes, once everything is loaded."""
    song, engine, grid = conversion.song, conversion.engine, conversion.grid
    begun = process_time()
    reduce(song, engine, grid, conversion.settings.reduce, measure_of(engine, grid))
    return process_time() - begun


def main() -> None:
    given = _arguments()
    costs = {term: float(weight) for term, weight in (c.split("=") for c in given.cost)}
    plain = Settings(engine=given.engine)
    every = {
        texture: replace(plain, reduce=replace(plain.reduce, costs=costs, texture=texture))
        for texture in given.texture or [plain.reduce.texture]
    }
    ask = Ask(
        given.folder, given.corrected, given.kind, given.engine, every, given.ear, given.sounds,
        given.toy,
    )  # fmt: skip
    names = pop909.names(given.folder)[given.offset :: given.every][: given.most]
    songs: dict[str, dict[str, Figures]] = {}
    with Pool(given.jobs) as pool:
        found = pool.imap(partial(measure, ask=ask), names)
        for name, figures in zip(names, found, strict=True):
            songs[name] = figures
            if given.each:
                _table(name, {name: figures})
    _table(f"mean of {len(songs)}", songs)
    if given.json is not None:
        given.json.write_text(json.dumps(songs, indent=1), encoding="utf-8")
    if given.against is not None:
        _compare(json.loads(given.against.read_text(encoding="utf-8")), songs)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--corrected", type=Path, help="the same songs with corrected chords")
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--offset", type=int, default=0)
    parser.add_argument("--most", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--engine", default="twin-phase")
    parser.add_argument("--kind", choices=pop909.KINDS, default="as-it-is")
    parser.add_argument("--texture", action="append", choices=TEXTURES)
    parser.add_argument("--cost", action="append", default=[], metavar="TERM=WEIGHT")
    parser.add_argument("--ear", choices=EARS, default=EARS[0])
    parser.add_argument(
        "--sounds", type=Path, help="where fluidsynth's sounds of full songs are kept"
    )
    parser.add_argument("--toy", action="store_true")
    parser.add_argument("--json", type=Path, help="write the figures of every song here")
    parser.add_argument("--against", type=Path, help="the figures of an earlier run")
    parser.add_argument("--each", action="store_true", help="a line for every song")
    return parser.parse_args()


def _table(label: str, songs: Songs) -> None:
    for key in dict.fromkeys(key for song in songs.values() for key in song):
        found = [song[key] for song in songs.values() if key in song]
        cells = "".join(f"  {name} {_number(_mean(found, name))}" for name in found[0])
        print(f"{label:12} {key:14}{cells}", flush=True)


def _compare(before: Songs, now: Songs) -> None:
    """Print how figures changed in the songs that both runs have, and which songs lost most."""
    for key in dict.fromkeys(key for song in now.values() for key in song):
        both = [name for name in now if key in now[name] and key in before.get(name, {})]
        for figure in now[both[0]][key] if both else ():
            was = {name: before[name][key].get(figure, np.nan) for name in both}
            new = {name: now[name][key].get(figure, np.nan) for name in both}
            means = [_mean([run[name][key] for name in both], figure) for run in (before, now)]
            sign = -1 if figure in LOW_IS_GOOD else 1
            gain = {name: sign * (new[name] - was[name]) for name in both}
            worse = sorted((name for name in both if gain[name] < 0), key=lambda n: gain[n])
            cells = [f"{_number(mean):>7}" for mean in (*means, means[1] - means[0])]
            worst = ", ".join(f"{n} {_number(was[n])}>{_number(new[n])}" for n in worse[:WORST])
            print(f"{key:14} {figure:9}" + " ".join(cells), f" {len(worse)} worse: {worst}")


def _mean(found: Sequence[Figures], name: str) -> float:
    """Return the mean of a figure over the songs that have it; of tops over all chords."""
    known = [each for each in found if not np.isnan(each.get(name, np.nan))]
    many = [each["chords"] if name == "tops" else 1 for each in known]
    return float(np.average([each[name] for each in known], weights=many)) if known else np.nan


def _number(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 10 else f"{value:.3f}"


if __name__ == "__main__":
    main()
