"""Whether voice 1 stays with the tune: chord tops, scraps, swaps and leaps, as a table.

    python -m tests.benchmarks.voice_lines FOLDER [--every N] [--offset K] [--most N] [--kind KIND]
        [--cost TERM=WEIGHT ...] [--each] [--jobs N] [--engine E]

FOLDER holds MIDI files; in POP909 (see `tests.benchmarks.pop909`) the tune is what MELODY plays, else
what is on top of the parts whose role is tune. Figures of all songs together, and goals:

- ``tops``: chords (two pitches or more on one step) that a part with the role of tune strikes, whose
  top voice 1 doesn't start there, as a share; ``carried``: of those chords of which a note counts as
  tune, so that the passage is that part's; ``lower``: of these, another of their notes starts there.
  Goal 0.05.
- ``scraps``: tones of voice 1 that aren't of the tune, alone between two tones that are, from another
  part than both or more than `NEAR` semitones from both; a bar. ``far``: those that are so far from
  both; ``short``: those shorter than half a second. Goal 0.05.
- ``swaps``: how often a bar the tune goes over to the other voice (0.02); ``leaps``: moves of voice 1 by
  more than an octave, a bar; ``splits``: those by more than `NEAR` within `SPLIT_SECONDS`, a bar, which
  the ear takes for two streams.
- ``tune``, ``v1``: the share of the tune's time that is heard in a voice, and in voice 1; ``links``: of
  successive tones of a voice, those that follow each other in one part; ``silent``: the share of
  steps on which voice 1 rests.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from dataclasses import replace
from functools import partial
from itertools import pairwise
from multiprocessing import Pool
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.rows import tone_spans, tones
from arranger.settings import Settings
from arranger.song import read_song
from tests.benchmarks import pop909
from tests.benchmarks.drum_figures import tune_tops
from tests.benchmarks.tune_finding import tune_steps

if TYPE_CHECKING:
    from arranger.conversion import Conversion

NEAR = 5
"""Semitones."""
SPLIT_SECONDS = 0.125
SHORT_SECONDS = 0.5

Sums = Counter[str]


class Tone(NamedTuple):
    """What voice 1 plays."""

    start: int
    end: int
    pitch: int
    part: int
    tune: bool


def voice_tones(conversion: Conversion, is_tune: np.ndarray, voice: int) -> list[Tone]:
    """Return the tones of a voice; one of the tune's pitch while the tune has it is the tune."""
    reduction, song = conversion.reduction, conversion.song
    row = (reduction.voice1, reduction.voice2)[voice]
    sources = (reduction.sources1, reduction.sources2)[voice]
    up = reduction.ledger.transpose
    asked = {
        (step, song.notes[note].pitch + up)
        for note in np.flatnonzero(is_tune & (conversion.grid.onset_steps >= 0)).tolist()
        for step in range(conversion.grid.onset_steps[note], conversion.grid.end_steps[note])
    }
    return [
        Tone(start, end, pitch, song.notes[note].part, is_tune[note] or (start, pitch) in asked)
        for start, end, pitch in tone_spans(row)
        for note in (sources[start],)
        if note >= 0
    ]


def chord_tops(conversion: Conversion) -> Sums:
    grid, reduction = conversion.grid, conversion.reduction
    weights = reduction.weights
    assert weights is not None
    tune_parts = {role.part for role in reduction.roles if role.role == "tune"}
    chords = defaultdict(list)
    for note in conversion.song.notes:
        step = int(grid.onset_steps[note.id])
        if step >= 0 and not note.drum and note.part in tune_parts:
            chords[note.part, step].append(note)
    found: Sums = Counter()
    for (_, step), notes in chords.items():
        if len({note.pitch for note in notes}) < 2:
            continue
        top = max(notes, key=lambda note: note.pitch)
        starts = reduction.voice1[step]
        spans = reduction.ledger.entries[top.id].spans
        missed = starts != top.pitch + reduction.ledger.transpose
        missed &= not any(span.voice == 1 and span.step == step for span in spans)
        carried = any(weights.tune[note.id] >= 0.5 for note in notes)
        lower = reduction.sources1[step] in {note.id for note in notes} and starts >= 0
        found.update(chords=1, carried=carried, tops=missed)
        found.update({"carried tops": missed and carried, "lower": missed and lower})
    return found


def line_figures(conversion: Conversion, is_tune: np.ndarray) -> Sums:
    reduction, grid = conversion.reduction, conversion.grid
    step = grid.step_length.seconds
    one, two = (voice_tones(conversion, is_tune, voice) for voice in (0, 1))
    found: Sums = Counter(bars=len(grid.bars), steps=grid.steps)
    for before, now, after in zip(one, one[1:], one[2:], strict=False):
        if now.tune or not (before.tune and after.tune):
            continue
        far = min(abs(now.pitch - before.pitch), abs(now.pitch - after.pitch)) > NEAR
        if far or now.part not in {before.part, after.part}:
            found.update(scraps=1, far=far, short=(now.end - now.start) * step < SHORT_SECONDS)
    for before, now in pairwise(one):
        apart = abs(now.pitch - before.pitch)
        split = apart > NEAR and (now.start - before.start) * step <= SPLIT_SECONDS
        found.update(leaps=apart > 12, splits=split)
    for voice in (one, two):
        found.update(pairs=len(voice), links=sum(a.part == b.part for a, b in pairwise(voice)))
    found["silent"] = tones(reduction.voice1).count(None)
    sounds, hits, silent = tune_steps(conversion, is_tune)
    carriers = [0 if a else 1 for a, b in zip(*hits, strict=True) if a or b]
    found["swaps"] = sum(a != b for a, b in pairwise(carriers))
    both = [hit | silent for hit in hits]
    found.update(sounds=int(sounds.sum()), v1=int(both[0][sounds].sum()))
    found["tune"] = int((both[0] | both[1])[sounds].sum())
    return found


def measure(path: Path, kind: str, settings: Settings) -> Sums:
    melody = (path.parent / f"{path.stem}.chords.txt").exists()
    song = pop909.song(path.parent, path.stem, kind) if melody else read_song(path)
    conversion = convert(song, load_engine(settings.engine), settings)
    if melody:
        is_tune = pop909.is_tune(path.parent, path.stem, kind)
    else:
        is_tune = np.zeros(len(song.notes), dtype=np.bool_)
        is_tune[tune_tops(conversion)] = True
    return line_figures(conversion, is_tune) + chord_tops(conversion)


OF = {
    "tops": "chords", "carried tops": "carried", "lower": "chords", "scraps": "bars",
    "far": "bars", "short": "bars", "swaps": "bars", "leaps": "bars", "splits": "bars",
    "tune": "sounds", "v1": "sounds", "links": "pairs", "silent": "steps",
}  # fmt: skip


def _line(label: str, sums: Sums) -> None:
    cells = "".join(f"  {name} {sums[name] / max(sums[of], 1):.3f}" for name, of in OF.items())
    print(f"{label:12}{cells}  ({sums['chords']} chords)", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--offset", type=int, default=0)
    parser.add_argument("--most", type=int, default=1000)
    parser.add_argument("--engine", default="twin-phase")
    parser.add_argument("--kind", choices=pop909.KINDS, default="as-it-is")
    parser.add_argument("--cost", action="append", default=[], metavar="TERM=WEIGHT")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--each", action="store_true", help="a line for every song")
    given = parser.parse_args()
    costs = {term: float(weight) for term, weight in (c.split("=") for c in given.cost)}
    settings = Settings(engine=given.engine)
    settings = replace(settings, reduce=replace(settings.reduce, costs=costs))
    paths = sorted(given.folder.glob("*.mid"))[given.offset :: given.every][: given.most]
    with Pool(given.jobs) as pool:
        work = partial(measure, kind=given.kind, settings=settings)
        found = pool.map(work, paths, chunksize=1)
    for path, sums in zip(paths, found, strict=True):
        if given.each:
            _line(path.stem, sums)
    _line(f"{len(paths)} songs", sum(found, Counter()))


if __name__ == "__main__":
    main()
