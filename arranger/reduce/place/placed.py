"""The song's notes as they stand on the grid, and those that can't take part."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.steps.place import half_up
from arranger.reduce.place.fold import UNPLAYABLE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from arranger.columns import Bools, Floats, Ints
    from arranger.grid.model import Grid
    from arranger.reduce.worth.weights import PartRole
    from arranger.song.model import Note, Song

LEAST_LOUDNESS = 0.03
"""Softer notes count as silent: 1/33 of full velocity at full volume, -61 dB by the square law that
General MIDI level 2 recommends for volume."""


class Placed(NamedTuple):
    """Arrays with one entry a note, in the order of ``Song.notes``."""

    part: Ints
    pitch: Ints
    """As written."""
    loudness: Floats
    drum: Bools
    onset: Ints
    """In steps; -1 outside the passage."""
    end: Ints
    released: Ints
    """In steps, at most the end: from there on only a pedal holds the note."""
    offset: Floats
    """Where the note is written minus its step, in steps."""
    written_end: Floats
    """Where the note is written to end, in steps."""
    rings: Floats
    """For how long before that only a pedal holds it, in steps."""
    refused: Mapping[int, str]
    """Notes that can't sound whatever is chosen, and the reason."""
    usable: Bools
    """Not refused."""
    led_to: Mapping[int, int]
    """For each grace note the note that it leads to."""


def place(song: Song, grid: Grid, roles: tuple[PartRole, ...]) -> Placed:
    """Return the notes on the grid; refuse those that are muted, silent or outside."""
    notes = song.columns
    muted = np.array([role.role == "muted" for role in roles], dtype=np.bool_)[notes.part]
    beyond = grid.onset_steps < 0
    soft = notes.loudness < LEAST_LOUDNESS
    led_to = graces(song)
    grace = np.zeros(len(notes), dtype=np.bool_)
    grace[list(led_to)] = True
    refused = dict.fromkeys(led_to, "same-step")
    refused.update(dict.fromkeys(np.flatnonzero(soft).tolist(), "silent"))
    refused.update(dict.fromkeys(np.flatnonzero(muted).tolist(), "track-muted"))
    refused.update(dict.fromkeys(np.flatnonzero(beyond).tolist(), "beyond-limit"))
    written_end, rings = _positions(song, grid, notes.end), np.zeros(len(notes))
    released = grid.end_steps
    if notes.rings.any():
        up = _positions(song, grid, notes.end - notes.rings)
        rings = written_end - up
        up = np.maximum(half_up(up), grid.onset_steps + 1)
        released = np.where(notes.rings > 0, np.minimum(up, released), released)
    return Placed(
        part=notes.part,
        pitch=notes.pitch,
        loudness=notes.loudness,
        drum=notes.drum,
        onset=grid.onset_steps,
        end=grid.end_steps,
        released=released,
        offset=np.where(beyond, 0.0, grid.positions - grid.onset_steps),
        written_end=written_end,
        rings=rings,
        refused=refused,
        usable=~(beyond | soft | muted | grace),
        led_to=led_to,
    )


def graces(song: Song) -> dict[int, int]:
    """Return the grace notes of a song, each with the longest note that starts with it.

    A grace note has no length and starts together with a note of its part that has one, as scores
    are read. On the same step it would only be a second voice out of tune with the first.
    """
    columns = song.columns
    ids = np.flatnonzero((columns.duration == 0) & ~columns.drum)
    without = [song.notes[index] for index in ids.tolist()]
    places = {(note.part, note.onset) for note in without}
    longest: dict[tuple[int, int], Note] = {}
    for note in song.notes if places else ():
        place = (note.part, note.onset)
        if place in places and note.duration > 0:
            longest[place] = max(longest.get(place, note), note, key=lambda one: one.duration)
    return {
        note.id: longest[note.part, note.onset].id
        for note in without
        if (note.part, note.onset) in longest
    }


def refuse(placed: Placed, ids: Ints, reason: str) -> Placed:
    """Return the notes with some more refused."""
    usable = placed.usable.copy()
    usable[ids] = False
    refused = {**dict.fromkeys(ids.tolist(), reason), **placed.refused}
    return placed._replace(refused=refused, usable=usable)


def unplayable(placed: Placed, pitch_out: Ints) -> Ints:
    """Return the ids of usable tonal notes that no octave of the table can play."""
    return np.flatnonzero(placed.usable & ~placed.drum & (pitch_out == UNPLAYABLE))


def _positions(song: Song, grid: Grid, asked: Ints) -> Floats:
    """Return the places of ticks in steps, between and beyond the onsets that the grid placed."""
    inside = grid.onset_steps >= 0
    if not inside.any():
        return np.zeros(len(asked))
    ticks, first = np.unique(song.columns.onset[inside].astype(np.float64), return_index=True)
    places = grid.positions[inside][first]
    step_ticks = song.ticks_per_beat * float(grid.step_beats)
    beyond = max(float(asked.max()), float(ticks[-1]) + 1)
    ticks = np.append(ticks, beyond)
    places = np.append(places, places[-1] + (beyond - ticks[-2]) / step_ticks)
    return np.interp(asked, ticks, places)
