"""A sheet as a MIDI file: two voices as two tracks, drums on channel 10, and the mark.

The file is one of format 1: a first track with title, mark, tempo and metre, then "voice 1",
"voice 2" and "drums". Its tempo is what the engine really plays. Converting it again gives the same
sheet (`arranger.conversion.marked`), as long as the notes are left alone.

Numbered departures from what is written in the sheet:

1. A hold with nothing before it is silent, so it comes back as silence.
2. MIDI tempo is in whole microseconds a beat and at most 16.7 s; a slower beat is written as that.
   The mark carries the engine's own step length, so nothing is lost.
3. MIDI metres have denominators that are powers of two; another metre is only in the mark.
"""

from __future__ import annotations

from io import BytesIO
from math import lcm
from typing import TYPE_CHECKING, Any

import mido

from arranger.errors import SheetError
from arranger.rows import tone_spans
from arranger.sheet.mark import joint_sounds, mark_lines
from arranger.sheet.played import beat_microseconds, played_steps
from arranger.sheet.sounds import sounds_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet

_LEAST_TICKS_PER_BEAT = 480
_MOST_TICKS_PER_BEAT = 0x7FFF
_DRUM_CHANNEL = 9
_PROGRAM = 80
"""General MIDI program 81, a square wave lead: nearest to the speaker."""
_VELOCITY = 100
_FREE_KEYS = range(27, 88)
"""Percussion keys that are tried first for a sound that stands in for none."""


def to_midi(sheet: Sheet, engine: Engine) -> bytes:
    """Return the sheet as a Standard MIDI File.

    Raises `SheetError` if the engine can't play the sheet, or a step is too small a share of a beat
    for MIDI.
    """
    played_steps(sheet, engine)
    per_beat, step_ticks = _resolution(sheet)
    keys = percussion_keys(sheet, engine)
    used = {name: each[0] for name, each in keys.items() if len(each) == 1}
    file = mido.MidiFile(type=1, ticks_per_beat=per_beat, charset="utf-8")
    file.tracks.append(_first_track(sheet, engine, used, step_ticks))
    for name, channel, row in (("voice 1", 0, sheet.voice1), ("voice 2", 1, sheet.voice2)):
        notes = [(start, end, pitch) for start, end, pitch in tone_spans(row)]
        file.tracks.append(_track(name, channel, notes, sheet.steps, step_ticks))
    hits = [(at, at + 1, key) for at, name in enumerate(sheet.drums) if name for key in keys[name]]
    file.tracks.append(_track("drums", _DRUM_CHANNEL, hits, sheet.steps, step_ticks))
    content = BytesIO()
    file.save(file=content)
    return content.getvalue()


def percussion_keys(sheet: Sheet, engine: Engine) -> dict[str, tuple[int, ...]]:
    """Return the General MIDI percussion keys that stand for each drum sound of a sheet's row.

    A joint sound is said by the keys of those that it joins, which have an entry too; any other has
    a key of its own: one that leads to the sound when a song is converted, where there is one.

    Raises `SheetError` if there are more sounds than keys.
    """
    sounds = sounds_of(sheet, engine)
    joins = {name: sorted(said) for said, name in joint_sounds(sounds.values()).items()}
    names = {name for name in sheet.drums if name}
    single = sorted({each for name in names for each in joins.get(name, [name])})
    chosen: dict[str, int] = {}
    for name in single:
        for key in sounds[name].percussion_keys:
            found = engine.drum_for(key)
            if found is not None and found.name == name:
                chosen[name] = key
                break
    others = [name for name in single if name not in chosen]
    keys = sorted(range(128), key=lambda key: key not in _FREE_KEYS)
    free = [key for key in keys if key not in chosen.values()]
    if len(others) > len(free):
        raise SheetError(
            f"has {len(single)} drum sounds, and MIDI 128 percussion keys", remedy="use fewer"
        )
    chosen |= dict(zip(others, free, strict=False))
    return {
        name: tuple(chosen[each] for each in joins.get(name, [name]))
        for name in sorted({*names, *single})
    }


def _resolution(sheet: Sheet) -> tuple[int, int]:
    """Return ticks a beat and ticks a step, both whole."""
    step = sheet.step_beats
    per_beat = lcm(_LEAST_TICKS_PER_BEAT, step.denominator)
    if per_beat > _MOST_TICKS_PER_BEAT:
        per_beat = step.denominator
    if per_beat > _MOST_TICKS_PER_BEAT:
        raise SheetError(
            f"a step of {step} beat is too small a share for a MIDI file",
            remedy=f"MIDI has at most {_MOST_TICKS_PER_BEAT} ticks a beat",
        )
    return per_beat, int(step * per_beat)


def _first_track(
    sheet: Sheet, engine: Engine, keys: Mapping[str, int], step_ticks: int
) -> mido.MidiTrack:
    title = sheet.title.encode("utf-8", "replace").decode("utf-8")
    events = [
        (0, mido.MetaMessage("track_name", name=title)),
        *((0, mido.MetaMessage("text", text=line)) for line in mark_lines(sheet, keys)),
        (0, mido.MetaMessage("set_tempo", tempo=beat_microseconds(sheet, engine))),
    ]
    metre: tuple[int, int] | None = None
    for bar, start in zip(sheet.bars, sheet.bar_starts, strict=False):
        if (bar.numerator, bar.denominator) != metre and _midi_metre(bar[2], bar[3]):
            metre = (bar.numerator, bar.denominator)
            signature = mido.MetaMessage(
                "time_signature", numerator=bar.numerator, denominator=bar.denominator
            )
            events.append((start * step_ticks, signature))
    return _timed(events, sheet.steps * step_ticks)


def _midi_metre(numerator: int, denominator: int) -> bool:
    return numerator < 256 and denominator & (denominator - 1) == 0 and denominator <= 128


def _track(
    name: str, channel: int, notes: list[tuple[int, int, int]], steps: int, step_ticks: int
) -> mido.MidiTrack:
    events: list[tuple[int, Any]] = [(0, mido.MetaMessage("track_name", name=name))]
    if channel != _DRUM_CHANNEL:
        events.append((0, mido.Message("program_change", channel=channel, program=_PROGRAM)))
    for start, end, pitch in notes:
        on = mido.Message("note_on", channel=channel, note=pitch, velocity=_VELOCITY)
        off = mido.Message("note_off", channel=channel, note=pitch, velocity=0)
        events += [(start * step_ticks, on), (end * step_ticks, off)]
    events.sort(key=lambda event: event[0])  # of joint drums several start at once
    return _timed(events, steps * step_ticks)


def _timed(events: list[tuple[int, Any]], end: int) -> mido.MidiTrack:
    """Return a track of events in order of time; each event gets the ticks since the one before."""
    track = mido.MidiTrack()
    now = 0
    for tick, message in events:
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=end - now))
    return track
