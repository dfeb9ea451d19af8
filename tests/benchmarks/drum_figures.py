"""Drums and the tune around them: what is heard of the groove, and what drums cost the tune.

    python -m tests.benchmarks.drum_figures FOLDER [--every N] [--offset K] [--jobs N]
                                            [--engine NAME] [--json FILE] [--against FILE]

Every MIDI file of the folder is converted with default settings. What is heard is read from the JSON
export ("arranger-steps", version 1 or 2): tones, drum sounds and how long they sound; the ledger is
asked only for outcomes and reasons. Every figure is a quotient, and that of all songs together the
quotient of the sums; beside it stands the mean over the songs. ``--against`` puts the figures of an
earlier ``--json`` beside these.

- A drum **sounds** where a sound that stands for its key (or joins one that does) starts within 30 ms of
  where the song has it, in the played tempo; kicks, snares and hats are one kind of sound each.
- **Backbeats** are the even beats of metres with an even number of beats.
- A **repeated bar** has the kicks and snares of the bar before it, at the same places; it stays repeated
  if what is heard of these two kinds is equal too.
- **Bistate similarity** of what is heard of a bar to what is asked: at every step the bar is in the state
  of the last kick or snare, and places where both agree count by their metrical weight. Reducing drums to
  two states agrees with listeners' ratings (bistate groove similarity, ISMIR 2020); weights are ours.
- **Tune tops** are notes of the tune's parts above which no other of them sounds. One is begun if a
  voice starts its pitch class on its step or up to 60 ms later.
"""

from __future__ import annotations

import argparse
import json
import math
from collections import defaultdict
from functools import partial
from itertools import pairwise
from multiprocessing import Pool
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger import Settings, convert, load_engine, read_song
from arranger.bars import metre_beat
from arranger.machine import song_bytes
from arranger.rows import tones
from arranger.song.time import TOGETHER_SECONDS, timed_columns
from tests.benchmarks.heard_steps import KINDS, heard

if TYPE_CHECKING:
    from arranger import Conversion
    from tests.benchmarks.heard_steps import Heard

TUNE_SECONDS = 0.06
NEAR_BEATS = 0.06
"""A note this near to a beat, in beats of the metre, is on it."""
PLACES_A_BEAT = 24
WEIGHTS = (4, 2, 1)
"""Of the first beat of a bar, of other beats, and between beats."""


class Figure(NamedTuple):
    name: str
    unit: str
    """"share", "each" (a mean) or "sum" (over all songs)."""
    goal: str = ""


BEGUN = (
    "tune tops begun in 60 ms",
    "... at their exact pitch",
    "... a drum alone restarts no tone",
    "... of the song's own time",
)
FIGURES = (
    Figure("backbeat snares heard", "share", ">= 95"),
    Figure("kicks on beats heard", "share", ">= 95"),
    Figure("repeated bars stay repeated", "share", ">= 90"),
    Figure("bistate similarity of bars", "share"),
    *(
        Figure(f"{kind}: {how}", "share", f">= {least}")
        for kind, least in (("kicks", 95), ("snares", 95), ("hats", 70), ("others", 50))
        for how in ("not dropped", "sounding")
    ),
    Figure("drums: not dropped", "share"),
    Figure("drums: sounding", "share"),
    *(Figure(name, "share", ">= 95" if name == BEGUN[0] else "") for name in BEGUN),
    Figure("tune time heard", "share"),
    Figure("tune time kept under drums", "share", ">= 85"),
    Figure("tune notes dropped under drums", "sum", "< 10"),
    Figure("ties a song", "each", "<= 10"),
    Figure("drum notes thinned a song", "each"),
    Figure("bytes a minute", "each", "<= before"),
    Figure("steps a bar of 4/4", "each", "<= before"),
)

Sums = dict[str, tuple[float, float]]
"""By figure: what is counted, and of what."""


def drum_figures(conversion: Conversion, found: Heard) -> Sums:
    """Return what is heard of the drum notes, of beats and of repeated bars."""
    grid, notes = conversion.grid, conversion.song.columns
    entries = conversion.reduction.ledger.entries
    heads = [bar.first_step for bar in grid.bars]
    sums: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    moments: dict[tuple[int, str, int], list[bool]] = defaultdict(list)
    for note in np.flatnonzero(notes.drum & (grid.onset_steps >= 0)).tolist():
        key, at = int(notes.pitch[note]), float(grid.positions[note])
        kind = next((kind for kind, keys in KINDS.items() if key in keys), "others")
        sounds = found.says(KINDS.get(kind, {key}), at)
        for what in (kind, "drums"):
            count(sums[f"{what}: not dropped"], entries[note].outcome != "dropped")
            count(sums[f"{what}: sounding"], sounds)
        bar = int(np.searchsorted(heads, grid.onset_steps[note], side="right")) - 1
        into = (at - heads[bar]) * float(grid.step_beats)
        moments[bar, kind, round(into * PLACES_A_BEAT)].append(sounds)
        count(sums["drum notes thinned a song"], "drum-thinned" in entries[note].reasons)
    sums["drum notes thinned a song"][1] = 1
    for (bar, kind, place), sound in moments.items():
        beat = beat_of(conversion, bar, place)
        if kind == "kicks" and beat is not None:
            count(sums["kicks on beats heard"], any(sound))
        if kind == "snares" and beat is not None and beat % 2 and beats(conversion, bar) % 2 == 0:
            count(sums["backbeat snares heard"], any(sound))
    asked: dict[int, set[tuple[str, int]]] = defaultdict(set)
    for bar, kind, place in moments:
        if kind in ("kicks", "snares"):
            asked[bar].add((kind, place))
    patterns = {bar: found.states(*grid.bars[bar][1:3]) for bar in asked}
    for before, bar in pairwise(sorted(asked)):
        alike = grid.bars[before][2:] == grid.bars[bar][2:] and asked[before] == asked[bar]
        if bar == before + 1 and alike:
            count(sums["repeated bars stay repeated"], patterns[before] == patterns[bar])
    shares = [similarity(conversion, bar, asked[bar], patterns[bar]) for bar in asked]
    return {
        **{name: (counted, of) for name, (counted, of) in sums.items()},
        "bistate similarity of bars": (sum(shares), len(shares)),
    }


def count(pair: list[int], is_so: bool) -> None:
    pair[0] += is_so
    pair[1] += 1


def beats(conversion: Conversion, bar: int) -> int:
    """Return how many beats a bar has; 0 for one that isn't whole, whose beats aren't known."""
    _, _, steps, numerator, denominator = conversion.grid.bars[bar]
    length = 4 * numerator / denominator
    whole = abs(steps * float(conversion.grid.step_beats) - length) < NEAR_BEATS
    return round(length / metre_beat(numerator, denominator)) if whole else 0


def beat_of(conversion: Conversion, bar: int, place: int) -> int | None:
    """Return which beat of its metre a place is, from 0; None between beats."""
    _, _, _, numerator, denominator = conversion.grid.bars[bar]
    beat = place / PLACES_A_BEAT / float(metre_beat(numerator, denominator))
    on = abs(beat - round(beat)) <= NEAR_BEATS and 0 <= round(beat) < beats(conversion, bar)
    return round(beat) if on else None


def similarity(
    conversion: Conversion, bar: int, asked: set[tuple[str, int]], said: list[frozenset[str]]
) -> float:
    """Return the share of a bar's metrical weight where asked and heard state agree."""
    places = len(said) * float(conversion.grid.step_beats) * PLACES_A_BEAT
    wanted: list[set[str]] = [set() for _ in said]
    for kind, place in asked:
        wanted[min(max(round(place * len(said) / places), 0), len(said) - 1)].add(kind)
    agreed = total = 0
    states: list[frozenset[str]] = [frozenset(), frozenset()]
    for step, now in enumerate(zip(wanted, said, strict=True)):
        states = [frozenset(each) or state for each, state in zip(now, states, strict=True)]
        beat = beat_of(conversion, bar, round(step * places / len(said)))
        weight = WEIGHTS[2 if beat is None else min(beat, 1)]
        agreed += weight * (states[0] == states[1])
        total += weight
    return agreed / total


def tune_tops(conversion: Conversion) -> list[int]:
    """Return the notes of the tune's parts above which no other of them sounds at their onset."""
    roles = conversion.reduction.roles
    grid, notes = conversion.grid, timed_columns(conversion.song)
    tune = np.array([role.role == "tune" for role in roles], dtype=np.bool_)
    those = np.flatnonzero(tune[notes.part] & ~notes.drum & (grid.onset_steps >= 0))
    onset, end, pitch = notes.onset_seconds[those], notes.end_seconds[those], notes.pitch[those]
    tops: dict[tuple[int, int], int] = {}
    for note, start, height in zip(those.tolist(), onset, pitch.tolist(), strict=True):
        with_it = np.abs(onset - start) <= TOGETHER_SECONDS
        sounding = with_it | ((onset < start) & (end > start + TUNE_SECONDS))
        if not (pitch[sounding] > height).any():
            tops.setdefault((int(grid.onset_steps[note]), height), note)
    return list(tops.values())


def tune_figures(conversion: Conversion, found: Heard) -> Sums:
    """Return how the tune is begun, and what of its time is heard."""
    grid, reduction = conversion.grid, conversion.reduction
    begins = defaultdict(list)
    for at, pitch, by_drum in found.begins:
        begins[pitch % 12].append((at, pitch, by_drum))
    rows = zip(tones(reduction.voice1), tones(reduction.voice2), strict=True)
    held = [{pitch % 12 for pitch in pair if pitch is not None} for pair in rows]
    classes = [{pitch % 12 for pitch in each} for each in found.pitches]
    tops = tune_tops(conversion)
    begun = [0] * len(BEGUN)
    asked = kept = had = 0.0
    for note in tops:
        pitch = int(conversion.song.columns.pitch[note]) + reduction.ledger.transpose
        first, end = int(grid.onset_steps[note]), int(grid.end_steps[note])
        own = float(grid.positions[note]) * found.step
        late = [(at - first * found.step, *rest) for at, *rest in begins[pitch % 12]]
        near = [each for each in late if -1e-6 <= each[0] <= TUNE_SECONDS + 1e-6]
        begun[0] += bool(near)
        begun[1] += any(each == pitch for _, each, _ in near)
        begun[2] += any(not by_drum for _, _, by_drum in near)
        begun[3] += any(abs(at - own) <= TUNE_SECONDS + 1e-6 for at, _, _ in begins[pitch % 12])
        for step in range(first, end):
            sounds = (found.step - found.taken[step]) * (pitch % 12 in classes[step])
            asked += found.step
            kept += sounds
            had += found.step * (pitch % 12 in held[step])
    return {
        **{name: (each, len(tops)) for name, each in zip(BEGUN, begun, strict=True)},
        "tune time heard": (kept, asked),
        "tune time kept under drums": (kept, had),
    }


def measure(path: Path, engine_name: str) -> Sums:
    """Convert a song and return its figures."""
    engine = load_engine(engine_name)
    conversion = convert(read_song(path), engine, Settings(engine=engine_name))
    reduction, grid = conversion.reduction, conversion.grid
    found = heard(conversion)
    part = conversion.song.columns.part
    under = sum(
        entry.outcome == "dropped"
        and reduction.roles[part[entry.note]].role == "tune"
        and not {"under-drum", "delayed-by-drum"}.isdisjoint(entry.reasons)
        for entry in reduction.ledger.entries
    )
    fours = [bar.steps for bar in grid.bars if bar[3:] == (4, 4)]
    return {
        **drum_figures(conversion, found),
        **tune_figures(conversion, found),
        "tune notes dropped under drums": (under, 1),
        "ties a song": (sum("repeat-tied" in e.reasons for e in reduction.ledger.entries), 1),
        "bytes a minute": (song_bytes(conversion.sheet, engine), grid.steps * found.step / 60),
        "steps a bar of 4/4": (sum(fours), len(fours)),
    }


def quotient(pair: tuple[float, float]) -> float:
    return pair[0] / pair[1] if pair[1] else math.nan


def value(figure: Figure, songs: dict[str, Sums]) -> float:
    """Return a figure of all songs together."""
    pairs = [sums[figure.name] for sums in songs.values() if figure.name in sums]
    counted, of = (sum(column) for column in zip(*pairs, strict=True)) if pairs else (0, 0)
    factor = {"share": 100.0, "each": 1.0, "sum": of}[figure.unit]
    return factor * quotient((counted, of))


def worst(figure: Figure, songs: dict[str, Sums]) -> str:
    """Return the songs that a figure loses most in."""
    pairs = {name: sums[figure.name] for name, sums in songs.items() if figure.name in sums}
    share = figure.unit == "share"
    loss = {name: of - had if share else quotient((had, of)) for name, (had, of) in pairs.items()}
    most = sorted((name for name in loss if loss[name] > 0), key=lambda name: -loss[name])[:5]
    if share:
        return ", ".join("{} {:.0f}/{:.0f}".format(name, *pairs[name]) for name in most)
    return ", ".join(f"{name} {loss[name]:.0f}" for name in most)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--offset", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--engine", default="twin-phase")
    parser.add_argument("--json", type=Path, help="write every song's figures here")
    parser.add_argument("--against", type=Path, help="the figures of an earlier run")
    given = parser.parse_args()
    paths = sorted(given.folder.glob("*.mid"))[given.offset :: given.every]
    with Pool(given.jobs) as pool:
        found = pool.map(partial(measure, engine_name=given.engine), paths, chunksize=1)
    songs = {path.stem: sums for path, sums in zip(paths, found, strict=True)}
    if given.json:
        given.json.write_text(json.dumps(songs, indent=1), encoding="utf-8")
    before = json.loads(given.against.read_text(encoding="utf-8")) if given.against else {}
    before = {name: before[name] for name in songs if name in before}
    print(f"{len(songs)} songs, {given.engine}\n{'':34}{'goal':>10}{'before':>9}{'now':>9}"
          f"{'mean':>9}  most lost in")  # fmt: skip
    for figure in FIGURES:
        earlier = f"{value(figure, before):9.1f}" if before else f"{'':9}"
        each = [value(figure, {name: songs[name]}) for name in songs]
        print(f"{figure.name:34}{figure.goal:>10}{earlier}{value(figure, songs):9.1f}"
              f"{np.nanmean(each):9.1f}  {worst(figure, songs)}")  # fmt: skip


if __name__ == "__main__":
    main()
