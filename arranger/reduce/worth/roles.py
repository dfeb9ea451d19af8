"""The role of each part, from evidence that is stated with its weight.

Every part gets a score as tune and one as bass: the sum of the evidence for and against. The user's
word outdoes all evidence. All weights stand in the tables below.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import order_of
from arranger.errors import SettingsError
from arranger.reduce.worth.copies import PANNED_APART
from arranger.reduce.worth.name_words import name_vote
from arranger.reduce.worth.note_table import note_on_top, totals
from arranger.reduce.worth.parts_named import asked_parts, parts_named
from arranger.reduce.worth.weights import PartRole, RoleEvidence
from arranger.song.time import TOGETHER_SECONDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Floats, Ints
    from arranger.reduce.worth.copies import Copy
    from arranger.reduce.worth.note_table import NoteTable
    from arranger.settings import ReduceSettings
    from arranger.song.model import Part, Song

ASKED = 100.0
"""Score of what the user asked for."""

ECHO = -3.0
OCTAVE_DOUBLE = -0.5
PANNED_DOUBLE = 0.4
"""What counts of copies: a line that is worth doubling on both sides is mostly a leading one."""

NAME_SHARES = {"tune": (1.0, -0.5), "bass": (-1.0, 1.0), "harmony": (-0.5, -0.5)}
"""What a name's vote for a role counts as tune and as bass, as shares of its weight."""

PROGRAM_FAMILIES: tuple[tuple[range, str, float, float], ...] = (
    (range(8, 16), "a chromatic percussion instrument", 0.2, -1.0),
    (range(32, 40), "a bass instrument", -3.0, 3.0),
    (range(42, 44), "a low string instrument", -0.8, 1.2),
    (range(46, 47), "a harp", -0.5, -0.3),
    (range(47, 48), "timpani", -3.0, 0.5),
    (range(48, 52), "a string ensemble", -0.6, 0.0),
    (range(52, 55), "voices", 0.8, -0.8),
    (range(56, 58), "a brass instrument", 0.3, -0.3),
    (range(58, 59), "a tuba", -0.8, 1.5),
    (range(64, 68), "a saxophone", 0.6, -0.3),
    (range(68, 70), "an oboe or English horn", 0.5, -0.8),
    (range(70, 71), "a bassoon", -0.3, 0.8),
    (range(71, 80), "a woodwind instrument", 0.8, -0.8),
    (range(80, 88), "a synthesizer lead", 1.0, -0.8),
    (range(88, 104), "a pad or effect", -1.5, -0.8),
    (range(112, 120), "a percussive instrument", -1.5, -1.0),
    (range(120, 128), "a sound effect", -3.0, -3.0),
)
"""General MIDI Level 1 programs (from 0): what the sound is mostly used for, as tune and bass."""


class PartFacts(NamedTuple):
    """What the notes of each part show; arrays of shape (parts,), 0 for parts without tones."""

    top: Floats
    """Share of its sounding time in which it has the song's highest note."""
    bottom: Floats
    solo: Floats
    """Share of its notes that start when its earlier notes are over: 1 for a single line."""
    single: Floats
    """Share of its notes that start by themselves: 1 for a line whose notes a pedal lengthens."""
    active: Floats
    """Share of the song's sounding time in which it sounds."""
    register: Floats
    """Mean pitch, by length."""
    smooth: Floats
    """Share of its successive onsets that move by 1 to 7 semitones."""
    variety: Floats
    """Number of pitches that its notes are spread over, as the inverse of their concentration."""
    louder: Floats
    """Mean loudness above the song's, -1..1."""
    tune: Floats
    """Share of its sounding time in which it has the song's likeliest tune note, by the model."""


def part_facts(table: NoteTable, likely: Floats, parts: int) -> PartFacts:
    """Measure each part; every array of the result has shape (parts,).

    ``likely``: shape (notes,): how likely each note is the tune, all parts taken as one.
    """
    tonal = np.flatnonzero(table.tonal)
    highest = note_on_top(table, table.pitch)
    lowest = note_on_top(table, -table.pitch)
    likeliest = note_on_top(table, likely)
    notes = np.maximum(np.bincount(table.part[tonal], minlength=parts), 1)
    order = tonal[order_of(table.pitch[tonal], table.onset[tonal], table.part[tonal])]
    part, duration = table.part[order], np.maximum(table.duration[order], 1e-3)

    def mean(values: Floats, weights: Floats) -> Floats:
        summed = totals(part, values * weights, parts)
        return summed / np.maximum(totals(part, weights, parts), 1e-9)

    sounding, alone = _line_shares(table, order, parts)
    total = table.moment_seconds[highest >= 0].sum()
    same_part = np.append(part[1:] == part[:-1], False)
    step = np.abs(np.diff(table.pitch[order], append=0))
    smooth = same_part & (step >= 1) & (step <= 7)
    concentration = _pitch_concentration(part, table.pitch[order], parts)
    overall = float(table.loudness[order] @ duration) / max(float(duration.sum()), 1e-9)
    louder = mean(table.loudness[order], duration) - overall
    return PartFacts(
        top=_seconds_by_part(table, highest, parts) / np.maximum(sounding, 1e-9),
        bottom=_seconds_by_part(table, lowest, parts) / np.maximum(sounding, 1e-9),
        tune=_seconds_by_part(table, likeliest, parts) / np.maximum(sounding, 1e-9),
        solo=alone / notes,
        single=_starts_alone(table, order, parts) / notes,
        active=sounding / max(total, 1e-9),
        register=mean(table.pitch[order].astype(np.float64), duration),
        smooth=np.bincount(part[smooth], minlength=parts) / notes,
        variety=1.0 / np.maximum(concentration, 1e-9),
        louder=np.where(np.bincount(part, minlength=parts) > 0, louder, 0.0),
    )


def _line_shares(table: NoteTable, order: Ints, parts: int) -> tuple[Floats, Floats]:
    """Return seconds in which each part sounds, and its number of notes that start alone."""
    part, onset, end = table.part[order], table.onset[order], table.end[order]
    shift = part * (table.end.max() + 1.0)
    reached = np.maximum.accumulate(end + shift) - shift
    follows = np.append(False, part[1:] == part[:-1])[: len(part)]
    before = np.where(follows, np.roll(reached, 1), -np.inf)
    fresh = np.maximum(end - np.maximum(onset, before), 0.0)
    overlap = before - onset
    alone = overlap <= 0.25 * (end - onset)
    return (
        totals(part, fresh, parts),
        np.bincount(part[alone], minlength=parts).astype(np.float64),
    )


def _starts_alone(table: NoteTable, order: Ints, parts: int) -> Floats:
    """Return how many notes of each part start apart from all others of it."""
    part, onset = table.part[order], table.onset[order]
    apart = (np.diff(onset) > TOGETHER_SECONDS) | (np.diff(part) != 0)
    first = np.append(True, apart)[: len(order)]
    last = np.append(apart, True)[: len(order)]
    return np.bincount(part[first & last], minlength=parts).astype(np.float64)


def _seconds_by_part(table: NoteTable, top: Ints, parts: int) -> Floats:
    found = top >= 0
    return totals(table.part[top[found]], table.moment_seconds[found], parts)


def _pitch_concentration(part: Ints, pitch: Ints, parts: int) -> Floats:
    """Return the sum of squared shares of the pitches of each part: 1 when it has only one."""
    counts = np.bincount(part * 128 + pitch, minlength=parts * 128).reshape(parts, 128)
    shares = counts / np.maximum(counts.sum(axis=1, keepdims=True), 1)
    found: Floats = (shares**2).sum(axis=1)
    return found


def find_roles(
    song: Song, facts: PartFacts, copies: Sequence[Copy], settings: ReduceSettings
) -> tuple[PartRole, ...]:
    """Return the role of each part, in order.

    Raises `SettingsError` if ``tune``, ``bass`` or ``mute`` name a part that isn't there, ``tune``
    or ``bass`` name several without a pattern, or they contradict each other.
    """
    asked_tune = asked_parts(song, settings.tune, "--tune")
    asked_bass = asked_parts(song, settings.bass, "--bass")
    muted = muted_parts(song, settings)
    for option, asked in (("--tune", asked_tune), ("--bass", asked_bass)):
        refused = [part for part in asked if part in muted or song.parts[part].drum]
        if asked and len(refused) == len(asked):
            part = refused[0]
            if part in muted:
                raise SettingsError(
                    f"part {part + 1} is asked for by {option} and muted", remedy="leave one out"
                )
            raise SettingsError(f"part {part + 1} plays drums and can't be the {option[2:]}")
    if asked_tune == asked_bass and len(asked_tune) == 1:
        raise SettingsError(
            f"part {asked_tune[0] + 1} is asked for as both tune and bass", remedy="leave one out"
        )
    scored = [_score(part, facts) for part in song.parts]
    for copy in copies:
        _weigh_copy(song, copy, scored)
    for option, asked, place in (("--tune", asked_tune, 0), ("--bass", asked_bass, 1)):
        for part in asked:
            scored[part][place].insert(0, RoleEvidence(f"asked for by {option}", ASKED))
    return _decide(song, scored, muted)


def muted_parts(song: Song, settings: ReduceSettings) -> frozenset[int]:
    """Return the indices of the parts that the user wants silent; errors as `find_roles`."""
    return frozenset(index for name in settings.mute for index in parts_named(song, name, "--mute"))


def _decide(
    song: Song, scored: list[tuple[list[RoleEvidence], list[RoleEvidence]]], muted: frozenset[int]
) -> tuple[PartRole, ...]:
    """Give the tune to the best part, the bass to the best of the others that speaks for it."""
    tune_scores = [sum(e.weight for e in tune) for tune, _ in scored]
    bass_scores = [sum(e.weight for e in bass) for _, bass in scored]
    free = [p.index for p in song.parts if not p.drum and p.index not in muted and p.notes]
    asked_bass = [
        i for i in free if bass_scores[i] >= ASKED / 2 and not tune_scores[i] >= ASKED / 2
    ]
    candidates = [i for i in free if i not in asked_bass] or free
    tune = max(candidates, key=lambda i: tune_scores[i], default=None)
    others = [i for i in free if i != tune]
    bass = max(others, key=lambda i: bass_scores[i], default=None)
    if bass is not None and bass_scores[bass] <= 0.0 and len(others) > 1:
        bass = None
    roles = []
    for part in song.parts:
        role = "harmony"
        if part.index in muted:
            role = "muted"
        elif part.drum:
            role = "drums"
        elif part.index == tune:
            role = "tune"
        elif part.index == bass:
            role = "bass"
        shown = scored[part.index][1 if role == "bass" else 0]
        roles.append(
            PartRole(
                part=part.index,
                role=role,
                tune_score=round(tune_scores[part.index], 3),
                bass_score=round(bass_scores[part.index], 3),
                evidence=tuple(sorted(shown, key=lambda e: -abs(e.weight))),
            )
        )
    return tuple(roles)


def _score(part: Part, facts: PartFacts) -> tuple[list[RoleEvidence], list[RoleEvidence]]:
    """Return the evidence for and against one part as tune, and as bass."""
    if part.drum or not part.notes:
        return [], []
    i = part.index
    tune: list[RoleEvidence] = []
    bass: list[RoleEvidence] = []

    def weigh(what: str, as_tune: float, as_bass: float) -> None:
        for found, weight in ((tune, as_tune), (bass, as_bass)):
            if abs(weight) >= 0.05:
                found.append(RoleEvidence(what, round(float(weight), 3)))

    vote = name_vote(part.name)
    if vote is not None:
        as_tune, as_bass = NAME_SHARES[vote.role]
        weigh(
            f"the name says {vote.role} (“{vote.word}”)",
            as_tune * vote.weight,
            as_bass * vote.weight,
        )
    for programs, family, as_tune, as_bass in PROGRAM_FAMILIES:
        if part.program in programs:
            weigh(f"its program is {family}", as_tune, as_bass)
    top, bottom = facts.top[i], facts.bottom[i]
    weigh(f"has the highest note {top:.0%} of its time", 1.5 * (top - 0.5), -1.5 * top)
    weigh(f"has the lowest note {bottom:.0%} of its time", -1.0 * bottom, 3.0 * (bottom - 0.5))
    weigh(
        f"its notes stand out as a tune {facts.tune[i]:.0%} of its time",
        3.0 * (facts.tune[i] - 0.5),
        -2.0 * facts.tune[i],
    )
    weigh(
        f"plays a single line {facts.solo[i]:.0%} of the time",
        2.0 * (facts.solo[i] - 0.6),
        1.0 * (facts.solo[i] - 0.6),
    )
    weigh(
        f"sounds {facts.active[i]:.0%} of the time",
        2.0 * (min(facts.active[i], 0.5) - 0.4),
        2.0 * (min(facts.active[i], 0.5) - 0.4),
    )
    height = (facts.register[i] - 64.0) / 12.0
    weigh(
        f"lies around MIDI pitch {facts.register[i]:.0f}",
        -0.6 * max(-height, height - 1.5, 0.0) ** 2,
        -1.5 * height - 1.0 if height > -1.0 else 0.5,
    )
    weigh(f"moves by step or small leap {facts.smooth[i]:.0%}", facts.smooth[i] - 0.4, 0.0)
    weigh(
        f"its notes spread over {facts.variety[i]:.1f} pitches",
        0.3 * (min(facts.variety[i], 8.0) - 5.0),
        0.0,
    )
    weigh("louder or softer than the rest", 3.0 * facts.louder[i], 0.0)
    return tune, bass


def _weigh_copy(
    song: Song, copy: Copy, scored: list[tuple[list[RoleEvidence], list[RoleEvidence]]]
) -> None:
    """Add what it tells that a part copies another: of both parts, in place."""
    if copy.is_echo:
        echoes = RoleEvidence(f"echoes part {copy.of + 1} {copy.delay:.2f} s later", ECHO)
        for found in scored[copy.part]:
            found.append(echoes)
    elif copy.octaves:
        where = "above" if copy.octaves > 0 else "below"
        scored[copy.part][0].append(
            RoleEvidence(f"doubles part {copy.of + 1} an octave {where}", OCTAVE_DOUBLE)
        )
    elif abs(song.parts[copy.part].pan - song.parts[copy.of].pan) >= PANNED_APART:
        for one, other in ((copy.part, copy.of), (copy.of, copy.part)):
            scored[one][0].append(
                RoleEvidence(f"is doubled by part {other + 1} on the other side", PANNED_DOUBLE)
            )
