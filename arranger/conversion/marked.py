"""A MIDI file that was made from a sheet becomes that sheet again, exactly.

The notes say what is played; the mark (`arranger.sheet.mark`) says how they stood on steps and bars.
Where somebody has since changed the notes so that they don't fit the mark (a third note at once, a
start between steps, a pitch that the engine doesn't have), it is a song like any other and the
general way is taken.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import view
from arranger.errors import SheetError
from arranger.grid.model import Grid, StepChoice, grid_bars
from arranger.reduce.ledger import Ledger
from arranger.reduce.model import Reduction
from arranger.reduce.perform.heard import Heard, hidden_by
from arranger.reduce.tell.account import account_columns
from arranger.reduce.tell.asked import Asked
from arranger.reduce.worth.weights import PartRole, RoleEvidence
from arranger.rows import HOLD, REST
from arranger.settings import GridSettings, ReduceSettings
from arranger.sheet.mark import find_mark, joint_sounds
from arranger.sheet.played import MOST_OFF_TEMPO, beat_microseconds, own_length, step_length
from arranger.sheet.sounds import sound_table

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from arranger.engine.model import Engine
    from arranger.settings import Settings
    from arranger.sheet.mark import SheetMark
    from arranger.sheet.model import SheetBar, SheetSound
    from arranger.song.model import Song

_OFF_TEMPO = 0.001
"""A tempo in a MIDI file may be off by this share, since programs round what they show."""

_VOICES = {"voice 1": 1, "voice 2": 2}
_ROLES = {0: "drums", 1: "tune", 2: "bass"}


class Marked(NamedTuple):
    """What the mark and the notes of a song add up to."""

    title: str
    tempo: float | None
    length: int | None
    """The engine's; None where the mark's is another engine's."""
    sounds: tuple[SheetSound, ...]
    bars: tuple[SheetBar, ...]
    grid: Grid
    reduction: Reduction
    asked: Asked


def read_marked(song: Song, engine: Engine, settings: Settings) -> Marked | None:
    """Return grid and reduction of a song that was made from a sheet, or None if it wasn't.

    None also where a setting asks for something else than the sheet as it was, the notes don't fit
    the mark, or there are none.
    """
    mark = find_mark(song) if song.notes else None
    if mark is None or _asks_otherwise(settings) or mark.steps > settings.grid.max_steps:
        return None
    placed = _placed(song, engine, mark)
    said = None if placed is None else _said(placed, engine)
    if placed is None or said is None:
        return None
    mark = _timed(song, engine, settings, mark)
    grid = _grid(song, engine, mark, placed)
    asked = _asked(song, engine, grid, placed)
    reduction = _reduction(song, engine, grid, placed, said, asked)
    return Marked(
        mark.title, mark.tempo, mark.length, mark.sounds, mark.bars, grid, reduction, asked
    )


def _timed(song: Song, engine: Engine, settings: Settings, mark: SheetMark) -> SheetMark:
    """Return the mark as fast as it counts: without its tempo if another program has changed that."""
    own = mark.engine in (settings.engine, engine.name)
    if not own or own_length(mark, engine) is None:
        mark = replace(mark, length=None)
    if mark.tempo is None and mark.length is None:
        return mark
    played = beat_microseconds(mark, engine) if own else 60e6 / (mark.tempo or math.inf)
    off = abs(song.tempos[0].microseconds_per_beat - played)
    changed = off > max(2, (_OFF_TEMPO if own else MOST_OFF_TEMPO) * played)
    return replace(mark, tempo=None, length=None) if changed else mark


def _asks_otherwise(settings: Settings) -> bool:
    grid = replace(settings.grid, max_steps=GridSettings().max_steps)
    reduce = replace(settings.reduce, max_bytes=None)
    if reduce.texture == "as-written":
        reduce = replace(reduce, texture=ReduceSettings().texture)
    return grid != GridSettings() or reduce != ReduceSettings()


class _Placed(NamedTuple):
    """A note on its steps."""

    voice: int
    """1, 2, or 0 for a drum."""
    step: int
    steps: int
    sound: str | None
    """Of a drum; a joint sound has one of its notes for each that it says."""


def _placed(song: Song, engine: Engine, mark: SheetMark) -> list[_Placed] | None:
    """Return every note on its steps, or None if one doesn't fit the sheet."""
    step_ticks = mark.step_beats * song.ticks_per_beat
    if step_ticks.denominator != 1 or not song.own_beat:
        return None
    ticks = step_ticks.numerator
    try:
        sounds = sound_table(mark.sounds, engine)
    except SheetError:  # they are another engine's
        return None
    voice_of = {part.index: _VOICES.get(part.name, 0) for part in song.parts}
    free = [0] * 3
    found: list[_Placed] = []
    for note in song.notes:
        voice = 0 if note.drum else voice_of[note.part]
        step, late = divmod(note.onset, ticks)
        steps, more = divmod(note.duration, ticks)
        sound = mark.drums.get(note.pitch) if note.drum else None
        on_steps = not late and not more and steps > 0 and step + steps <= mark.steps
        fits = sound in sounds if note.drum else voice > 0 and note.pitch in engine.pitches
        if not on_steps or not fits or step < free[voice]:
            return None
        if not note.drum:
            free[voice] = step + steps
        found.append(_Placed(voice, step, 1 if note.drum else steps, sound))
    return found


def _said(placed: Sequence[_Placed], engine: Engine) -> dict[int, str] | None:
    """Return the drum sound of each step that has one, or None if one can't say all of its notes."""
    hits: dict[int, list[str]] = {}
    for note in placed:
        if note.sound is not None:
            hits.setdefault(note.step, []).append(note.sound)
    joint = joint_sounds(engine.drums)
    said = {
        step: names[0] if len(names) == 1 else joint.get(frozenset(names), "")
        for step, names in hits.items()
        if len(set(names)) == len(names)
    }
    return said if len(said) == len(hits) and all(said.values()) else None


def _grid(song: Song, engine: Engine, mark: SheetMark, placed: list[_Placed]) -> Grid:
    bars = grid_bars(bar[:4] for bar in mark.bars)
    onsets = np.array([note.step for note in placed], dtype=np.int64)
    ticks = int(mark.step_beats * song.ticks_per_beat)
    bpm = mark.tempo or 60e6 / song.tempos[0].microseconds_per_beat
    return Grid(
        step_beats=mark.step_beats,
        basis="file",
        first_tick=0,
        steps=mark.steps,
        bars=bars,
        bar_ticks=(*(bar.first_step * ticks for bar in bars), mark.steps * ticks),
        step_length=step_length(replace(mark, tempo=bpm), engine),
        asked_bpm=bpm,
        onset_steps=onsets,
        end_steps=onsets + np.array([note.steps for note in placed], dtype=np.int64),
        positions=onsets.astype(np.float64),
        alternatives=(StepChoice(mark.step_beats, 0.0, mark.steps, 0, 0, 0),),
        loop_step=mark.loop_step,
        remarks=("the file was made from a sheet, which it becomes again as it was",),
    )


def _reduction(
    song: Song,
    engine: Engine,
    grid: Grid,
    placed: Sequence[_Placed],
    said: Mapping[int, str],
    asked: Asked,
) -> Reduction:
    steps = grid.steps
    voices = ([REST] * steps, [REST] * steps)
    sources = ([-1] * steps, [-1] * steps)
    drums: list[str | None] = [None] * steps
    drum_sources = [-1] * steps
    for note, place in zip(song.notes, placed, strict=True):
        first, end = place.step, place.step + place.steps
        if place.voice == 0:
            drums[first], drum_sources[first] = said[first], note.id
        else:
            cells = [note.pitch] + [HOLD] * (place.steps - 1)
            voices[place.voice - 1][first:end] = cells
            sources[place.voice - 1][first:end] = [note.id] * place.steps
    heard = Heard(
        voices, sources, drum_sources, hidden_by(engine, engine.sounds, drums, grid.step_length)
    )
    columns = account_columns(asked, heard, drums)
    return Reduction(
        voice1=tuple(voices[0]),
        voice2=tuple(voices[1]),
        drums=tuple(drums),
        sources1=tuple(sources[0]),
        sources2=tuple(sources[1]),
        drum_sources=tuple(drum_sources),
        ledger=Ledger(columns=columns, transpose=0),
        roles=tuple(_role(song, index, placed) for index in range(len(song.parts))),
    )


def _asked(song: Song, engine: Engine, grid: Grid, placed: Sequence[_Placed]) -> Asked:
    """Return what notes ask for that stand on their steps as written."""
    notes = song.columns
    onset, end = [place.step for place in placed], [place.step + place.steps for place in placed]
    pitch = view(notes.pitch)
    return Asked(
        onset=onset,
        end=end,
        note_end=end,
        written_end=end,
        rings=[0.0] * len(placed),
        offset=[0.0] * len(placed),
        pitch=pitch,
        out=pitch,
        part=view(notes.part),
        drum=view(notes.drum),
        sound=[place.sound for place in placed],
        joins={sound.name: sound.joins for sound in engine.drums if sound.joins},
        gap=None,
        lead=range(len(placed)),
        octave_of=[-1] * len(placed),
        duplicate_of=[-1] * len(placed),
        refused={},
        tune=[False] * len(placed),
        turning=[[False] * grid.steps] * 2,
        step_seconds=grid.step_length.seconds,
        steps_per_beat=float(1 / grid.step_beats),
    )


def _role(song: Song, part: int, placed: Sequence[_Placed]) -> PartRole:
    voice = next(p.voice for n, p in zip(song.notes, placed, strict=True) if n.part == part)
    what = "the file was made from a sheet that has it as " + (
        f"voice {voice}" if voice else "drums"
    )
    return PartRole(
        part, _ROLES[voice], float(voice == 1), float(voice == 2), (RoleEvidence(what, 1),)
    )
