"""Small songs made by hand, and a plain grid for them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.engine.model import StepLength
from arranger.grid.model import Grid, GridBar
from arranger.reduce.choose.candidates import Tones, find_repeats
from arranger.reduce.perform.heard import Hidden
from arranger.song.model import MetreChange, Note, Part, Song, TempoChange, Track

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.engine.model import Engine

BEAT = 480


class Line(NamedTuple):
    """One part: notes as (onset in beats, length in beats, pitch)."""

    notes: list[tuple[float, float, int]]
    name: str = "part"
    program: int = 0
    velocity: int = 96
    drum: bool = False
    pan: int = 64


def taking(engine: Engine) -> Engine:
    """Return an engine whose drums take their whole step, say one thing each, and can't rest."""
    drums = tuple(drum for drum in engine.drums if not drum.joins and drum != engine.gap)
    return replace(engine, drum_takes_step=True, drums=drums)


def song_of(*lines: Line) -> Song:
    """Return a song of 120 beats a minute with one track and channel for each line."""
    rows = [
        (round(onset * BEAT), index, round(length * BEAT), pitch, line)
        for index, line in enumerate(lines)
        for onset, length, pitch in line.notes
    ]
    rows.sort(key=lambda row: row[:2])
    notes = tuple(
        Note(
            id=number,
            part=index,
            track=index,
            channel=9 if line.drum else index % 9,
            onset=onset,
            duration=duration,
            pitch=pitch,
            velocity=line.velocity,
            loudness=line.velocity / 127,
            drum=line.drum,
        )
        for number, (onset, index, duration, pitch, line) in enumerate(rows)
    )
    parts = tuple(
        Part(i, i, i % 9, line.program, line.name, line.drum, line.pan, len(line.notes))
        for i, line in enumerate(lines)
    )
    return Song(
        title="made by hand",
        file="made.mid",
        sha256="0" * 64,
        kind="midi",
        midi_format=1,
        ticks_per_beat=BEAT,
        own_beat=True,
        notes=notes,
        parts=parts,
        tracks=tuple(Track(i, line.name, len(line.notes)) for i, line in enumerate(lines)),
        tempos=(TempoChange(0, 500_000),),
        metres=(MetreChange(0, 4, 4),),
    )


def pedalled(song: Song, beats: float) -> Song:
    """Return the song with every key up after so many beats: a pedal holds what goes on."""
    up = round(beats * BEAT)
    return replace(
        song, notes=[note._replace(rings=max(note.duration - up, 0)) for note in song.notes]
    )


def grid_of(song: Song, parts_of_beat: int = 4) -> Grid:
    """Return a grid from tick 0 whose step is a whole part of a beat (at 3.5 MHz), all in one bar."""
    step = BEAT / parts_of_beat
    positions = np.array([note.onset / step for note in song.notes])
    onsets = np.round(positions).astype(np.int64)
    lengths = np.array([note.duration / step for note in song.notes])
    ends = np.maximum(np.round(positions + lengths).astype(np.int64), onsets + 1)
    steps = int(ends.max(initial=1))
    return Grid(
        step_beats=Fraction(1, parts_of_beat),
        basis="file",
        first_tick=0,
        steps=steps,
        bars=(GridBar(1, 0, steps, 4, 4),),
        step_length=StepLength(1, 1_750_000 // parts_of_beat, 0.5 / parts_of_beat),
        asked_bpm=120.0,
        onset_steps=onsets,
        end_steps=ends,
        positions=positions,
    )


def silencing(drum_sources: Sequence[int], step_seconds: float = 0.125) -> Hidden:
    """Return what drums hide that take their whole step."""
    on = np.array(drum_sources) >= 0
    return Hidden((step_seconds * on).tolist(), on)


def tones_of(*rows: tuple[int, int, int, float], part: int = 0, released: int = 0) -> Tones:
    """Return tones from onset, end, pitch and tune weight; ``released``: where all keys come up."""
    rows = tuple(sorted(rows))
    onset, end, pitch = (np.array([row[i] for row in rows], dtype=np.int64) for i in range(3))
    tune = np.array([row[3] for row in rows])
    return Tones(
        note=np.arange(len(rows)),
        pitch=pitch,
        onset=onset,
        end=end,
        released=np.minimum(end, released) if released else end,
        part=np.full(len(rows), part),
        tune=tune,
        bass=np.zeros(len(rows)),
        worth=1.0 + tune,
        plain_worth=np.ones(len(rows)),
        repeats=find_repeats(pitch, onset, end),
    )
