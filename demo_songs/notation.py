"""A line notation for the demo songs, and its way into Standard MIDI Files.

A line is written as ``PITCH:LENGTH`` words: ``G4:2 A4:1 r:1 C4+E4+G4:4``. Lengths count units that
the part sets (a quarter, an eighth, …), ``r`` rests, ``+`` joins a chord, ``|`` is for the eye only,
``!`` after the length stresses the note. Drums are written with the words of `DRUM_KEYS`.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import mido

from arranger.pitch import parse_pitch

if TYPE_CHECKING:
    from pathlib import Path

TICKS_PER_BEAT = 480

DRUM_KEYS = {
    "kick": 36, "snare": 38, "clap": 39, "lowtom": 45, "midtom": 47, "hightom": 50,
    "hat": 42, "pedal": 44, "open": 46, "crash": 49, "ride": 51, "tamb": 54, "block": 76,
    "triangle": 81,
}  # fmt: skip
"""General MIDI Level 1 percussion keys, by words of our own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One part: what it plays and on what."""

    name: str
    text: str
    unit: Fraction = Fraction(1, 2)
    """Beats (quarter notes) that a length of 1 lasts."""
    program: int = 0
    channel: int = 0
    velocity: int = 84
    volume: int = 100
    pan: int = 64
    gate: Fraction = Fraction(19, 20)
    """How much of its written length a note sounds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One demo song."""

    file: str
    title: str
    bpm: float
    lines: tuple[Line, ...]
    metre: tuple[int, int] = (4, 4)
    pickup: Fraction = Fraction(0)
    """Beats before the first full bar."""
    tempo_changes: tuple[tuple[Fraction, float], ...] = ()
    """Beat and beats a minute from there on."""


def write_piece(piece: Piece, folder: Path) -> Path:
    """Write a piece as a format 1 file and return its path."""
    midi = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_BEAT)
    midi.tracks.append(_conductor(piece))
    midi.tracks.extend(_track(line) for line in piece.lines)
    path = folder / f"{piece.file}.mid"
    midi.save(path)
    return path


def in_deltas(events: list[tuple[int, mido.Message | mido.MetaMessage]]) -> mido.MidiTrack:
    """Return events at absolute ticks as a track; offs come first, so a repeat is two notes."""
    track = mido.MidiTrack()
    now = 0
    for tick, message in sorted(events, key=lambda event: (event[0], event[1].type != "note_off")):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=0))
    return track


def _conductor(piece: Piece) -> mido.MidiTrack:
    track = mido.MidiTrack([mido.MetaMessage("track_name", name=piece.title)])
    numerator, denominator = piece.metre
    metre = mido.MetaMessage("time_signature", numerator=numerator, denominator=denominator)
    if piece.pickup:
        short = metre.copy(numerator=int(piece.pickup * denominator / 4))
        track.extend([short, metre.copy(time=_ticks(piece.pickup))])
    else:
        track.append(metre)
    now = piece.pickup
    track.insert(1, mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(piece.bpm)))
    for beat, bpm in piece.tempo_changes:
        tempo = mido.bpm2tempo(bpm)
        track.append(mido.MetaMessage("set_tempo", tempo=tempo, time=_ticks(beat - now)))
        now = beat
    return track


def _track(line: Line) -> mido.MidiTrack:
    drums = line.channel == 9
    events: list[tuple[int, mido.Message | mido.MetaMessage]] = [
        (0, mido.MetaMessage("track_name", name=line.name)),
        (0, mido.Message("control_change", channel=line.channel, control=7, value=line.volume)),
        (0, mido.Message("control_change", channel=line.channel, control=10, value=line.pan)),
    ]
    if not drums:
        program = mido.Message("program_change", channel=line.channel, program=line.program)
        events.append((0, program))
    beat = Fraction(0)
    for word in line.text.replace("|", " ").split():
        names, _, written = word.partition(":")
        length = Fraction(written.rstrip("!")) * line.unit
        velocity = min(line.velocity + 20 * written.endswith("!"), 127)
        for name in () if names == "r" else names.split("+"):
            key = DRUM_KEYS[name] if drums else parse_pitch(name)
            on = mido.Message("note_on", channel=line.channel, note=key, velocity=velocity)
            off = mido.Message("note_off", channel=line.channel, note=key)
            events.append((_ticks(beat), on))
            events.append((_ticks(beat + length * line.gate), off))
        beat += length
    return in_deltas(events)


def _ticks(beats: Fraction) -> int:
    return round(beats * TICKS_PER_BEAT)
