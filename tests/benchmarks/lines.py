"""How much of the outer lines, their links and the harmony comes through, as a table.

    python -m tests.benchmarks.lines FOLDER [--cost TERM=WEIGHT ...] [--partitura]

FOLDER holds MIDI files with one part a track (chorales and quartets written from
music21's corpus with `tests.benchmarks.corpus`); files that needed repairs are passed over (music21 writes trills so
that notes hang). Every figure stands beside the highest and the
lowest sounding note of each step, computed in the same run on the same grid.

- ``top`` and ``low``: steps of the highest and the lowest part (by mean pitch) in a voice at their
  pitch, in %, counting the silent step that makes a repetition heard; ``gaps``: the share of those.
- ``links``: pairwise F1 of successive notes of a voice against successive notes of a true part, over
  the notes that are heard. A voice that fills the rests of its line with another part breaks links
  by this count, so ``line`` leaves out the notes of other parts than the highest and the lowest.
- ``classes``: sounding pitch-class weight (loudness times time) that one of the voices has; beside
  it the highest and lowest note; the best two pitch classes of every step that have those of tune
  and bass where these sound (``(held)``); and the best two of all.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np

from arranger.conversion import Conversion, convert
from arranger.engine import load_engine
from arranger.rows import tones
from arranger.settings import Settings
from arranger.song import read_song


class Figures(NamedTuple):
    top: float
    low: float
    gaps: float
    plain_top: float
    plain_low: float
    links: float
    line: float
    classes: float
    plain_classes: float
    held_classes: float
    best_classes: float


def sounding(conversion: Conversion) -> list[list[int]]:
    """Return the ids of the tonal notes that the song sounds on each step."""
    grid = conversion.grid
    found: list[list[int]] = [[] for _ in range(grid.steps)]
    for note in conversion.song.notes:
        if not note.drum and grid.onset_steps[note.id] >= 0:
            for step in range(grid.onset_steps[note.id], grid.end_steps[note.id]):
                found[step].append(note.id)
    return found


def by_height(conversion: Conversion) -> list[int]:
    """Return the tonal parts, from the highest mean pitch to the lowest."""
    song = conversion.song
    means = {
        part.index: np.mean([note.pitch for note in song.notes if note.part == part.index])
        for part in song.parts
        if not part.drum
    }
    return sorted(means, key=lambda index: -means[index])


def line_share(conversion: Conversion, part: int, heard: list[set[int]]) -> tuple[float, float]:
    """Return the share of a part's steps that are heard, and the share lost to gaps."""
    grid, reduction = conversion.grid, conversion.reduction
    asked = found = gaps = 0
    for note in conversion.song.notes:
        if note.part != part:
            continue
        pitch = note.pitch + reduction.ledger.transpose
        steps = range(int(grid.onset_steps[note.id]), int(grid.end_steps[note.id]))
        asked += len(steps)
        found += sum(pitch in heard[step] for step in steps)
        if "shortened-for-gap" in reduction.ledger.entries[note.id].reasons:
            gaps += pitch not in heard[steps[-1]]
    return (found + gaps) / asked, gaps / asked


def link_score(conversion: Conversion, parts: set[int]) -> float:
    """Return the pairwise F1 of successive notes of some parts."""
    reduction, notes = conversion.reduction, conversion.song.notes
    ours: set[tuple[int, int]] = set()
    heard: set[int] = set()
    for sources in (reduction.sources1, reduction.sources2):
        runs = [s for s, before in zip(sources, (-1, *sources), strict=False) if s != before]
        runs = [s for s in runs if s >= 0 and notes[s].part in parts]
        heard.update(runs)
        ours.update(pairwise(runs))
    true: set[tuple[int, int]] = set()
    for part in parts:
        true.update(pairwise(n.id for n in notes if n.part == part and n.id in heard))
    return 2 * len(ours & true) / max(len(ours) + len(true), 1)


def class_shares(
    conversion: Conversion, heard: list[set[int]], ids: list[list[int]]
) -> tuple[float, ...]:
    """Return the pitch-class weight of the four choices that the module names."""
    notes, transpose = conversion.song.notes, conversion.reduction.ledger.transpose
    weights = conversion.reduction.weights
    assert weights is not None
    pitch = [note.pitch + transpose for note in notes]
    total = 0.0
    kept = np.zeros(4)
    for step, present in enumerate(ids):
        if not present:
            continue
        weight = np.zeros(12)
        for i in present:
            weight[pitch[i] % 12] += notes[i].loudness
        tune = [pitch[i] for i in present if weights.tune[i] >= 0.5]
        bass = [pitch[i] for i in present if weights.bass[i] >= 0.5]
        lines = {max(tune) % 12} if tune else set()
        lines |= {min(bass) % 12} if bass else set()
        others = sorted((weight[c] for c in range(12) if c not in lines), reverse=True)
        outer = [pitch[i] for i in present]
        total += weight.sum()
        kept += (
            sum(weight[c] for c in {p % 12 for p in heard[step]}),
            sum(weight[c] for c in {max(outer) % 12, min(outer) % 12}),
            sum(weight[c] for c in lines) + sum(others[: 2 - bool(tune) - bool(bass)]),
            np.sort(weight)[-2:].sum(),
        )
    return tuple(kept / total)


def measure(conversion: Conversion) -> Figures:
    reduction = conversion.reduction
    rows = [tones(reduction.voice1), tones(reduction.voice2)]
    silent = [d is not None and conversion.engine.drum_takes_step for d in reduction.drums]
    heard = [
        set() if quiet else {p for p in pair if p is not None}
        for quiet, *pair in zip(silent, *rows, strict=True)
    ]
    ids = sounding(conversion)
    notes, transpose = conversion.song.notes, reduction.ledger.transpose
    outer = []
    for present in ids:
        pitches = [notes[i].pitch + transpose for i in present]
        outer.append({max(pitches), min(pitches)} if pitches else set())
    tonal = by_height(conversion)
    top, gap1 = line_share(conversion, tonal[0], heard)
    low, gap2 = line_share(conversion, tonal[-1], heard)
    plain_top, _ = line_share(conversion, tonal[0], outer)
    plain_low, _ = line_share(conversion, tonal[-1], outer)
    return Figures(
        top,
        low,
        (gap1 + gap2) / 2,
        plain_top,
        plain_low,
        link_score(conversion, set(tonal)),
        link_score(conversion, {tonal[0], tonal[-1]}),
        *class_shares(conversion, heard, ids),
    )


def partitura_links(path: Path) -> float:
    """Return the same score for partitura's voice estimation over all notes of all parts."""
    import partitura

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        performance = partitura.load_performance_midi(path)
        array = performance.note_array()
        voices = partitura.musicanalysis.estimate_voices(array, monophonic_voices=True)
    order = np.lexsort((array["pitch"], array["onset_tick"]))
    ours: set[tuple[int, int]] = set()
    true: set[tuple[int, int]] = set()
    for labels, links in ((voices, ours), (array["track"], true)):
        for label in np.unique(labels):
            links.update(pairwise(int(i) for i in order if labels[i] == label))
    return 2 * len(ours & true) / (len(ours) + len(true))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--cost", action="append", default=[], metavar="TERM=WEIGHT")
    parser.add_argument("--engine", default="twin-phase")
    parser.add_argument("--each", action="store_true", help="a line for every file")
    parser.add_argument("--partitura", action="store_true", help="measure its links too (slow)")
    given = parser.parse_args()
    costs = {term: float(weight) for term, weight in (c.split("=") for c in given.cost)}
    engine = load_engine(given.engine)
    settings = Settings(engine=given.engine)
    settings = replace(settings, reduce=replace(settings.reduce, costs=costs))
    groups: dict[str, list[Figures]] = {}
    theirs: dict[str, list[float]] = {}
    names = (
        "top",
        "low",
        "gaps",
        "(plain)",
        "(plain)",
        "links",
        "line",
        "classes",
        "(plain)",
        "(best)",
    )
    sys.stdout.write(f"{'':30}" + "".join(f"{name:>9}" for name in names) + "\n")
    for path in sorted(given.folder.glob("*.mid")):
        song = read_song(path)
        if song.repairs:
            sys.stdout.write(f"{path.stem}: passed over, {len(song.repairs)} repairs\n")
            continue
        figures = measure(convert(song, engine, settings))
        group = path.stem.split("_")[0]
        groups.setdefault(group, []).append(figures)
        if given.each:
            _line(path.stem, figures)
        if given.partitura:
            theirs.setdefault(group, []).append(partitura_links(path))
    for group, found in groups.items():
        _line(f"{group}, mean of {len(found)}", np.mean(found, axis=0))
        _line(f"{group}, least", np.min(found, axis=0))
        if group in theirs:
            sys.stdout.write(f"{group}: links of partitura {np.mean(theirs[group]):.3f}\n")


def _line(name: str, figures: object) -> None:
    cells = "".join(f"{100 * value:9.2f}" for value in np.asarray(figures))
    sys.stdout.write(f"{name:30}{cells}\n")


if __name__ == "__main__":
    main()
