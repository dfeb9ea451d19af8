"""Chorales of the corpus that music21 ships: soprano and bass come through.

Source of the music: J. S. Bach's four-part chorales in the music21 corpus (M. S. Cuthbert and
C. Ariza, "music21: A Toolkit for Computer-Aided Musicology and Symbolic Music Data", ISMIR 2010).
The yardstick is the plainest rule there is, computed here on the same steps: the highest and the
lowest note that sound. None of the scores that the weights of this program were trained on is used.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.rows import tones
from arranger.settings import Settings
from arranger.song import read_song
from tests.benchmarks.corpus import four_part_scores, midi_of
from tests.benchmarks.scores import BEAT_SCORES, BEAT_SEED, sampled, taken
from tests.reduce.little_songs import taking

if TYPE_CHECKING:
    from arranger.conversion import Conversion

CHORALES = 40


class Counted(NamedTuple):
    steps: int
    heard: int
    """In a voice at its pitch."""
    gaps: int
    """Given up so that the repetition of the note is heard to start."""
    outermost: int
    """Those that are the highest (soprano) or lowest (bass) note sounding."""


def trained_on() -> set[str]:
    """Return the stems of all files of which the tune model or the beat tracker has learned."""
    beats = [Path(path) for path in sampled(BEAT_SCORES, BEAT_SEED)]
    return {path.stem for path in (*taken("chorale", odd=False), *beats)}


@pytest.fixture(scope="module")
def conversions(tmp_path_factory: pytest.TempPathFactory) -> list[Conversion]:
    folder = tmp_path_factory.mktemp("chorales")
    engine = load_engine("twin-phase")
    made = []
    for name, score in four_part_scores("chorales", every=3, without=trained_on()):
        path = folder / f"{name}.mid"
        midi_of(score).save(path)
        made.append(convert(read_song(path), engine, Settings()))
        if len(made) == CHORALES:
            break
    return made


def count(conversion: Conversion, part: int, outermost: str) -> Counted:
    song, grid, reduction = conversion.song, conversion.grid, conversion.reduction
    voices = list(zip(tones(reduction.voice1), tones(reduction.voice2), strict=True))
    sounding: list[list[int]] = [[] for _ in range(grid.steps)]
    for note in song.notes:
        for step in range(int(grid.onset_steps[note.id]), int(grid.end_steps[note.id])):
            sounding[step].append(note.pitch)
    pick = max if outermost == "highest" else min
    steps = heard = gaps = outer = 0
    for note in song.notes:
        if note.part != part:
            continue
        for step in range(int(grid.onset_steps[note.id]), int(grid.end_steps[note.id])):
            steps += 1
            outer += pick(sounding[step]) == note.pitch
            if note.pitch in voices[step]:
                heard += 1
            elif step == grid.end_steps[note.id] - 1:
                reasons = reduction.ledger.entries[note.id].reasons
                gaps += "shortened-for-gap" in reasons
    return Counted(steps, heard, gaps, outer)


def total(conversions: list[Conversion], part: int, outermost: str) -> Counted:
    counts = [count(conversion, part, outermost) for conversion in conversions]
    return Counted(*(sum(column) for column in zip(*counts, strict=True)))


def test_soprano_and_bass_come_through(conversions: list[Conversion]) -> None:
    assert len(conversions) == CHORALES
    soprano = total(conversions, 0, "highest")
    bass = total(conversions, 3, "lowest")
    assert (soprano.heard + soprano.gaps) / soprano.steps >= 0.99
    assert (bass.heard + bass.gaps) / bass.steps >= 0.985
    # at least as good as the highest and the lowest note
    assert soprano.heard + soprano.gaps >= soprano.outermost
    assert bass.heard + bass.gaps >= bass.outermost


def test_a_tone_is_shortened_only_for_one_of_its_pitch(conversions: list[Conversion]) -> None:
    """On an engine that can't rest for less than a step."""
    gaps = 0
    engine = taking(load_engine("twin-phase"))
    for conversion in (convert(made.song, engine, Settings()) for made in conversions[:60]):
        song, grid = conversion.song, conversion.grid
        starts = {(int(grid.onset_steps[note.id]), note.pitch) for note in song.notes}
        for note, entry in zip(song.notes, conversion.reduction.ledger.entries, strict=True):
            if "shortened-for-gap" in entry.reasons:
                gaps += 1
                assert (int(grid.end_steps[note.id]), note.pitch) in starts
    assert gaps > 100


def test_lines_stay_in_their_voices(conversions: list[Conversion]) -> None:
    moved = kept = 0
    for conversion in conversions:
        notes, reduction = conversion.song.notes, conversion.reduction
        for sources, part in ((reduction.sources1, 0), (reduction.sources2, 3)):
            held = [notes[s].part for s in sources if s >= 0]
            kept += sum(p == part for p in held)
            moved += sum(p == 3 - part for p in held)
    assert moved / (kept + moved) <= 0.01
