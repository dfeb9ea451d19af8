"""What each note is worth to a listener: tune, bass, salience, doubles, and the roles of the parts.

`weigh` puts the evidence together:

1. How likely each note is the tune by itself, all parts taken as one (`tune_likelihood`).
2. The role of each part as a whole (`find_roles`), and which part carries the tune in which passage
   (`carrying`).
3. Within a part, which of its notes stands out at each moment.

Time and memory are linear in the number of notes, but for sorting.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import median, order_of
from arranger.reduce.worth.copies import find_copies
from arranger.reduce.worth.duplicates import doubles
from arranger.reduce.worth.note_table import (
    cover,
    heard_share,
    note_on_top,
    note_table,
    totals,
    within_parts,
)
from arranger.reduce.worth.passages import carrying
from arranger.reduce.worth.roles import find_roles, muted_parts, part_facts
from arranger.reduce.worth.tune_model import tune_likelihood, voicing
from arranger.reduce.worth.weights import Weights
from arranger.song.time import TOGETHER_SECONDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Floats, Ints
    from arranger.reduce.worth.note_table import NoteTable
    from arranger.reduce.worth.roles import PartFacts
    from arranger.reduce.worth.weights import PartRole
    from arranger.settings import ReduceSettings
    from arranger.song.model import Song


MOST_NOTES = 50_000
"""So many notes are looked at together, which bounds the memory that long songs take."""
BLOCK_CHORDS = (0.75, 0.8)
"""Shares of notes in chords of three or more from which the top counts more, and counts in full.
Between the piano songs of POP909 (mostly 0.4 to 0.7) and chorales (from 0.8)."""
TOP_LOG_ODDS = 0.5
"""How much more the top counts there: enough for chorales."""
ECHO_SHARE = 0.3
"""Salience of an echo, and how likely it is the tune, as shares of what they were by themselves."""
NO_TUNE = frozenset({"muted", "drums"})
BASS_WINDOW_SECONDS = 1.0
BASS_SEMITONES = 5.0
"""A lowest note so far above the bass around it counts 1/e as bass."""


def weigh(song: Song, settings: ReduceSettings, before: Weights | None = None) -> Weights:
    """Return the weights of all notes of a song that has at least one.

    ``song``: with at least one note.
    ``settings``: those that name parts count.
    ``before``: the song's weights by other settings: what they share isn't found again.

    Raises `SettingsError` if the settings name a part that isn't there, or contradict each other.
    """
    if before is not None and _alike(before, settings, "tune", "bass", "mute"):
        return before
    table = note_table(song, muted_parts(song, settings))
    likely = None
    if before is not None and _alike(before, settings, "mute"):
        likely = before.likely
    if likely is None:
        likely = likelihood(table)
    copies = find_copies(table, len(song.parts))
    behind = np.ones(len(likely))
    for copy in copies:
        if copy.is_echo:
            behind[copy.notes] = ECHO_SHARE
    found = likely * behind
    facts = part_facts(table, found, len(song.parts))
    roles = find_roles(song, facts, copies, settings)
    tune = _tune(table, found, facts, roles)
    bass = _bass(table, roles) * (1.0 - tune)
    salience = _salience(table) * behind
    importance = 4.0 * tune + 2.0 * bass + salience
    duplicate_of, octave_of = doubles(table, importance, copies)
    return Weights(
        tune=tune,
        bass=bass,
        salience=salience,
        duplicate_of=duplicate_of,
        octave_of=octave_of,
        roles=roles,
        likely=likely,
        settings=settings,
    )


def _alike(before: Weights, settings: ReduceSettings, *names: str) -> bool:
    made = before.settings
    return made is not None and all(getattr(made, n) == getattr(settings, n) for n in names)


def likelihood(table: NoteTable) -> Floats:
    """Return how likely each note is the tune, all parts taken as one; 0 for drums."""
    tonal = np.flatnonzero(table.tonal)
    order = tonal[order_of(table.pitch[tonal], table.onset[tonal])]
    likely = np.zeros(len(table.pitch))
    for first in range(0, len(order), MOST_NOTES):
        ids = order[first : first + MOST_NOTES]
        notes = voicing(table.onset[ids], table.end[ids], table.pitch[ids], table.loudness[ids])
        likely[ids] = tune_likelihood(notes)
    return _top_of_chords(table, likely)


def _top_of_chords(table: NoteTable, likely: Floats) -> Floats:
    """Return the likelihoods, those on top raised and the others lowered in a song of block chords.

    A listener takes the top of a hymn for its tune (common practice, no source). The log odds change
    by up to `TOP_LOG_ODDS`, in full where `BLOCK_CHORDS` of the notes start with two or more others.
    """
    onset = np.sort(table.onset[table.tonal])
    if not len(onset):
        return likely
    before = np.searchsorted(onset, onset - TOGETHER_SECONDS, side="left")
    after = np.searchsorted(onset, onset + TOGETHER_SECONDS, side="right")
    share = float(np.mean(after - before >= 3))
    low, high = BLOCK_CHORDS
    weight = min(max((share - low) / (high - low), 0.0), 1.0)
    if weight == 0.0:
        return likely
    top = heard_share(table, note_on_top(table, table.pitch))
    odds = np.exp(TOP_LOG_ODDS * weight * (2.0 * np.clip(top, 0.0, 1.0) - 1.0))
    found: Floats = likely * odds / (likely * odds + 1.0 - likely)
    return found


def _tune(
    table: NoteTable, likely: Floats, facts: PartFacts, roles: tuple[PartRole, ...]
) -> Floats:
    """Return the probability that the note's part carries the tune there, times that of the note.

    Within a part that plays single notes every note is the tune when the part carries it. Where it
    plays chords, the likelihood of the note counts, but the likeliest at each moment never counts
    less than half: the listener takes something for the tune. Where another part has the bass, that is
    the top of the chord. Notes that overlap only because a
    pedal holds them are a single line as well, where it is a part by itself.
    """
    scores = np.array(
        [-np.inf if r.role in NO_TUNE else r.tune_score - max(r.bass_score, 0.0) / 4 for r in roles]
    )
    carries = carrying(table, likely, scores)
    if any(role.role == "bass" for role in roles):
        likely = _handed_up(table, likely, [role.role != "bass" for role in roles])
    own = within_parts(table)
    stands_out = np.clip(heard_share(own, note_on_top(own, likely)), 0.0, 1.0)
    lines = (facts.single > 0.95) & (len(roles) > 1)
    least = np.where(lines[table.part], 0.95, (0.5 + 0.45 * facts.solo)[table.part] * stands_out)
    return carries * np.where(table.tonal, np.maximum(likely, least), 0.0)


def _handed_up(table: NoteTable, likely: Floats, parts: Sequence[bool]) -> Floats:
    """Return the likelihoods, in each chord of some parts that of its likeliest note at its top.

    The other notes of the chord get the least. Where another part has the bass, a chord is what
    stands below the tune (common practice, no source).
    """
    those = np.flatnonzero(np.array(parts)[table.part] & table.tonal)
    if not len(those):
        return likely
    order = those[order_of(table.pitch[those], table.onset[those], table.part[those])]
    together = np.diff(table.onset[order]) <= TOGETHER_SECONDS
    together &= np.diff(table.part[order]) == 0
    first = np.flatnonzero(np.append(True, ~together))
    chord = np.repeat(np.arange(len(first)), np.diff(first, append=len(order)))
    height = order_of(table.pitch[order], chord)
    last = np.append(first[1:], len(order)) - 1
    found = likely.copy()
    found[order] = np.minimum.reduceat(likely[order], first)[chord]
    found[order[height[last]]] = np.maximum.reduceat(likely[order], first)
    return found


def _bass(table: NoteTable, roles: tuple[PartRole, ...]) -> Floats:
    """Return how much of its time a note is the lowest: of the part with the bass, else of all.

    A lowest note that is far above the others around it counts less: it is the top of a broken
    chord, or the tune by itself.
    """
    owner = np.array([role.role == "bass" for role in roles])[table.part]
    low = note_on_top(table, np.where(owner, 256, 0) - table.pitch)
    found: Floats = np.clip(heard_share(table, low), 0.0, 1.0)
    above = (table.pitch - _floor(table)) / BASS_SEMITONES
    return np.where(owner, found, found * np.exp(-above))


def _floor(table: NoteTable) -> Ints:
    """Return the lowest pitch that starts within the window around each note's onset."""
    tonal = table.tonal
    times, place = np.unique(table.onset, return_inverse=True)
    first = np.searchsorted(times, table.onset - BASS_WINDOW_SECONDS, side="left")
    after = np.searchsorted(times, table.onset + BASS_WINDOW_SECONDS, side="right")
    depth = cover(first[tonal], after[tonal], 127 - table.pitch[tonal], len(times))
    return np.minimum(127 - depth[place], table.pitch)


def _salience(table: NoteTable) -> Floats:
    """Return how audible a note is, as a multiple of what most notes of the song are.

    Loudness, the fourth root of the length (a listener notices a longer note more, but its time is
    already counted where it is used), and exposure: the share of the sounding weight that its pitch
    class has while it sounds. A note that is doubled by others, or stands alone, is worth more.
    """
    if not table.tonal.any():
        return np.ones(len(table.pitch))
    raw = (0.2 + table.loudness) * np.clip(table.duration, 0.05, 4.0) ** 0.25
    raw *= _exposure(table)
    return np.clip(raw / float(median(raw[table.tonal])), 0.1, 4.0)


def _exposure(table: NoteTable) -> Floats:
    """Return the mean weight of each note's pitch class over its time, 1 for an average one.

    The weight of a pitch class at a moment is the loudness of all its notes there, divided by the
    mean over the classes that sound.
    """
    many = len(table.moment_seconds)
    tonal = np.flatnonzero(table.tonal)
    key = table.pitch[tonal] % 12 * (many + 1)
    loud = table.loudness[tonal] + 0.01
    change = totals(key + table.start[tonal], loud, 12 * (many + 1))
    change -= totals(key + table.stop[tonal], loud, 12 * (many + 1))
    weight = np.cumsum(change.reshape(12, -1), axis=1)[:, :many]
    weight[weight < 1e-6] = 0.0
    classes = np.count_nonzero(weight, axis=0)
    weight *= classes / np.maximum(weight.sum(axis=0), 1e-9)
    lasting = table.moment_seconds + 1e-6
    summed = np.zeros((12, many + 1))
    np.cumsum(weight * lasting, axis=1, out=summed[:, 1:])
    time = np.append(0.0, np.cumsum(lasting))
    flat, key = summed.ravel(), table.pitch % 12 * (many + 1)
    found: Floats = flat[key + table.stop] - flat[key + table.start]
    return np.where(table.tonal, found / (time[table.stop] - time[table.start]), 1.0)
