"""Weights of notes against `tests.reduce.plain_weighing`, which looks at every note by itself."""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.reduce.worth.copies import Copy, find_copies
from arranger.reduce.worth.name_words import name_vote
from arranger.reduce.worth.note_table import note_table
from arranger.reduce.worth.roles import part_facts
from arranger.reduce.worth.tune_model import tune_likelihood, voicing
from arranger.reduce.worth.weigh import likelihood, weigh
from arranger.settings import ReduceSettings
from tests.reduce.little_songs import Line, song_of
from tests.reduce.plain_weighing import Plain, speaks

if TYPE_CHECKING:
    from arranger.reduce.worth.note_table import NoteTable
    from arranger.reduce.worth.weights import Weights
    from arranger.song import Song

NAMES = ("part", "part", "Lead", "Bass", "Strings", "Choir")
PROGRAMS = (0, 8, 15, 32, 39, 43, 46, 47, 48, 51, 54, 57, 58, 64, 69, 70, 71, 80, 103, 112, 127, 24)


def some_line(random: Random, high: int) -> list[tuple[float, float, int]]:
    """Return a line or chords; times are eighths of a beat, with some notes a little late."""
    found = []
    at = random.choice((0, 0, 8))
    chords = random.random() < 0.3
    for _ in range(random.randrange(1, 14)):
        length = random.choice((0, 1, 2, 3.9, 3.9, 5.9, 11.8, 99))  # the last: over 4 seconds
        for _ in range(random.choice((2, 3)) if chords else 1):
            late = random.choice((0, 0, 0, 0.03, 0.06, 0.08))
            found.append((at / 8 + late, length / 8, high + random.choice((0, 2, 4, 5, 7, 12, -9))))
        at += random.choice((1, 2, 4, 4, 8))
    return found


def some_song(random: Random) -> Song:
    lines = []
    for _ in range(random.choice((1, 2, 3, 3))):
        notes = some_line(random, random.choice((38, 50, 62, 74, 86)))
        if lines and random.random() < 0.5:
            later, octave = random.choice((0, 0.3, 0.5)), random.choice((0, 0, 12, -12))
            notes = [(on + later, length, pitch + octave) for on, length, pitch in lines[0].notes]
        lines.append(
            Line(
                [note for note in notes if note[0] < 18],
                random.choice(NAMES),
                random.choice(PROGRAMS),
                random.choice((40, 96, 127)),
                drum=random.random() < 0.1,
                pan=random.choice((24, 64, 104)),
            )
        )
    return song_of(*lines)


def scores_of(
    song: Song, facts: list[dict[str, float]], copies: list[Copy], settings: ReduceSettings
) -> list[list[list[float]]]:
    """Return for each part what speaks for it as tune, and as bass."""
    found: list[list[list[float]]] = []
    for part in song.parts:
        vote = name_vote(part.name)
        voted = None if vote is None else (vote.role, vote.weight)
        found.append(
            [[], []]
            if part.drum or not part.notes
            else speaks(part.program, voted, facts[part.index])
        )
    for copy in copies:
        of, by = song.parts[copy.of], song.parts[copy.part]
        if copy.delay > 0.035:
            found[by.index][0].append(-3)
            found[by.index][1].append(-3)
        elif copy.octaves:
            found[by.index][0].append(-0.5)
        elif abs(of.pan - by.pan) >= 40:
            found[by.index][0].append(0.4)
            found[of.index][0].append(0.4)
    for place, asked in enumerate((settings.tune, settings.bass)):
        if asked is not None:
            found[int(asked) - 1][place].append(100)
    return found


def roles_of(
    song: Song, scores: list[tuple[float, float]], settings: ReduceSettings
) -> dict[int, str]:
    """Give the tune to the best part, the bass to the best of the others, if it speaks for it."""
    muted = {int(name) - 1 for name in settings.mute}
    roles = {
        p.index: "muted" if p.index in muted else "drums" if p.drum else "harmony"
        for p in song.parts
    }
    free = [p.index for p in song.parts if roles[p.index] == "harmony" and p.notes]
    for_tune = [part for part in free if scores[part][1] < 50] or free
    tune = max(for_tune, key=lambda part: scores[part][0], default=None)
    others = [part for part in free if part != tune]
    bass = max(others, key=lambda part: scores[part][1], default=None)
    if tune is not None:
        roles[tune] = "tune"
    if bass is not None and (scores[bass][1] > 0 or len(others) == 1):
        roles[bass] = "bass"
    return roles


def check_roles(
    song: Song, found: Weights, evidence: list[list[list[float]]], settings: ReduceSettings
) -> None:
    scores = [(sum(tune), sum(bass)) for tune, bass in evidence]
    roles = roles_of(
        song, [(entry.tune_score, entry.bass_score) for entry in found.roles], settings
    )
    for entry, (tune, bass), weights in zip(found.roles, scores, evidence, strict=True):
        assert entry.role == roles[entry.part]
        assert (entry.tune_score, entry.bass_score) == pytest.approx((tune, bass), abs=0.01)
        told = [one.weight for one in entry.evidence]
        shown = weights[entry.role == "bass"]
        assert sorted(told) == pytest.approx(sorted(shown), abs=0.002)


def by_the_model(table: NoteTable, plain: Plain) -> list[float]:
    """Return how likely each note is the tune, whatever chords it stands in."""
    found = np.zeros(len(table.pitch))
    ids = [n.id for n in sorted(plain.tonal, key=lambda n: (n.onset, n.pitch))]
    if ids:
        voiced = voicing(table.onset[ids], table.end[ids], table.pitch[ids], table.loudness[ids])
        found[ids] = tune_likelihood(voiced)
    return found.tolist()


@pytest.mark.parametrize("alone", [4, 6, 7, 8, 9])
def test_the_top_counts_more_the_more_notes_stand_in_block_chords(alone: int) -> None:
    """Of eight chords of three and so many single notes: 86, 80, 77, 75 and 73 % are in chords."""
    chords = [(at, 1, pitch + at % 4) for at in range(8) for pitch in (60, 64, 67)]
    song = song_of(Line(chords), Line([(8 + at, 1, 72) for at in range(alone)]))
    table, plain = note_table(song), Plain(song)
    model = by_the_model(table, plain)
    assert likelihood(table) == pytest.approx(np.array(plain.top_of_chords(model)))
    assert (likelihood(table).tolist() == model) == (alone >= 8)


@pytest.mark.parametrize("seed", range(8))
def test_notes_and_parts_weigh_what_looking_at_each_of_them_says(seed: int) -> None:
    random = Random(seed)
    for _ in range(12):
        song = some_song(random)
        many = len(song.parts)
        settings = random.choice(
            (*([ReduceSettings()] * 5), ReduceSettings(mute=(str(many),)), ReduceSettings(bass="1"))
        )
        if settings.bass and song.parts[0].drum:
            settings = ReduceSettings()
        muted = [int(name) - 1 for name in settings.mute]
        table = note_table(song, muted)
        plain = Plain(song, muted)
        likely = np.array(plain.top_of_chords(by_the_model(table, plain)))
        assert likelihood(table) == pytest.approx(likely)

        copies = find_copies(table, many)
        echoes = [copy for copy in copies if copy.delay > 0.035]
        echoed = [note for copy in echoes for note in copy.notes.tolist()]
        likely[echoed] *= 0.3
        facts = [plain.facts(part, likely.tolist()) for part in plain.parts]
        measured = part_facts(table, likely, many)
        for name in facts[0]:
            wanted = [fact[name] if plain.of(part) else 0.0 for part, fact in enumerate(facts)]
            given = [v if plain.of(part) else 0.0 for part, v in enumerate(getattr(measured, name))]
            assert given == pytest.approx(wanted, abs=1e-6), name

        found = weigh(song, settings)
        evidence = scores_of(song, facts, copies, settings)
        check_roles(song, found, evidence, settings)
        roles = [entry.role for entry in found.roles]
        scores = [entry.tune_score - max(entry.bass_score, 0) / 4 for entry in found.roles]
        tune = plain.tune(likely.tolist(), facts, roles, scores)
        assert found.tune == pytest.approx(tune, abs=1e-6)
        bass = plain.bass(roles, tune)
        tonal = [note.id for note in plain.tonal]
        assert found.bass[tonal] == pytest.approx(np.array(bass)[tonal], abs=1e-6)
        salience = plain.salience(echoed)
        assert found.salience[tonal] == pytest.approx(np.array(salience)[tonal])
        importance = [
            4 * t + 2 * b + s
            for t, b, s in zip(found.tune, found.bass, found.salience, strict=True)
        ]
        unison, octave = plain.doubles(importance, echoes)
        assert found.duplicate_of.tolist() == unison
        assert found.octave_of.tolist() == octave
