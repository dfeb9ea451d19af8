"""A Standard MIDI File becomes a song. mido parses; this module puts the tracks together."""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

import mido

from arranger.errors import LimitError, SongError
from arranger.song import channels, pedals
from arranger.song.events import track_events
from arranger.song.general_midi import PROGRAM_NAMES
from arranger.song.model import MetreChange, Part, Song, TempoChange, Track

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from arranger.settings import ReadSettings
    from arranger.song.channels import PartDraft
    from arranger.song.events import TrackEvents

DEFAULT_TEMPO = 500_000
"""Microseconds a beat until a tempo is set: 120 beats a minute (Standard MIDI File 1.0)."""


@dataclass(frozen=True, slots=True)
class Division:
    """What a tick is, from the header's third word (Standard MIDI File 1.0)."""

    ticks_per_beat: int
    own_beat: bool
    microseconds_per_beat: int
    """Tempo at the start: a beat of clock time when ``own_beat`` is False."""


def division(word: int) -> Division:
    """Work out the division word (0..0xFFFF).

    With the top bit set, the high byte is minus the frames a second (24, 25, 29 or 30) and the low
    byte the ticks a frame; then a "beat" here is one second. 29 stands for 30 drop-frame, which
    runs at 30/1.001 frames a second, so that 30 frames last 1.001 s.

    >>> division(0xE728)
    Division(ticks_per_beat=1000, own_beat=False, microseconds_per_beat=1000000)
    """
    if not word & 0x8000:
        return Division(word, True, DEFAULT_TEMPO)
    frames = 256 - (word >> 8)
    ticks = word & 0xFF
    if frames == 29:
        return Division(30 * ticks, False, 1_001_000)
    return Division(frames * ticks, False, 1_000_000)


def read_midi(data: bytes, name: str, sha256: str, settings: ReadSettings) -> Song:
    """Read the bytes of a Standard MIDI File.

    Raises
    ------
    SongError
        If they are no MIDI file, or can't be read.
    LimitError
        If the file holds more than the settings allow.
    """
    try:
        parsed = mido.MidiFile(file=BytesIO(data))
    except (OSError, EOFError, ValueError, IndexError, LookupError) as error:
        raise SongError(f"not readable as MIDI: {error}") from error
    if len(parsed.tracks) > settings.max_tracks:
        raise LimitError(f"{len(parsed.tracks)} tracks", remedy="raise --max-tracks")
    unit = division(parsed.ticks_per_beat & 0xFFFF)
    tracks: list[TrackEvents] = []
    start = 0
    for index, messages in enumerate(parsed.tracks):
        tracks.append(track_events(index, messages, start))
        if parsed.type == 2:
            start = tracks[-1].end
    return _song(tracks, unit, parsed.type, name, sha256, settings)


def _song(
    tracks: list[TrackEvents],
    unit: Division,
    midi_format: int,
    name: str,
    sha256: str,
    settings: ReadSettings,
) -> Song:
    """Put tracks together."""
    raw = [note for track in tracks for note in track.notes]
    raw.sort()
    events = sorted(event for track in tracks for event in track.events)
    silencing = [event for event in events if event[5] in pedals.CODES]
    if silencing:
        end = max(track.end for track in tracks)
        pedals.move_ends(raw, silencing, end, sustain=settings.sustain)
    settled = [event for event in events if event[5] in channels.CODES]
    notes, drafts = channels.sweep(raw, settled, settings.drum_channels)
    return Song(
        title=_title(tracks, name),
        file=name,
        sha256=sha256,
        kind="midi",
        midi_format=midi_format,
        ticks_per_beat=unit.ticks_per_beat,
        own_beat=unit.own_beat,
        notes=tuple(notes),
        parts=tuple(_parts(drafts, tracks, midi_format)),
        tracks=tuple(Track(t.index, t.name, len(t.notes)) for t in tracks),
        tempos=_tempos(tracks, unit),
        metres=_metres(tracks),
        keys=tuple(sorted(key for track in tracks for key in track.keys)),
        marks=tuple(sorted((m for track in tracks for m in track.marks), key=lambda m: m.tick)),
        controls=tuple(sorted(c for track in tracks for c in track.controls)),
        repairs=tuple(repair for track in tracks for repair in track.repairs),
    )


def _title(tracks: Sequence[TrackEvents], file: str) -> str:
    """Return the first track's name, which is the sequence's name, or the file's name."""
    written = tracks[0].name.strip() if tracks else ""
    return written or file.rpartition(".")[0] or file


def _parts(
    drafts: Sequence[PartDraft], tracks: Sequence[TrackEvents], midi_format: int
) -> Iterable[Part]:
    """Name the parts."""
    names = {track.index: track.name.strip() for track in tracks}
    shared = {d.track for d in drafts if sum(o.track == d.track for o in drafts) > 1}
    for index, draft in enumerate(drafts):
        sound = "Drums" if draft.drum else PROGRAM_NAMES[draft.program]
        written = "" if midi_format == 0 else names[draft.track]
        if written and draft.track in shared:
            written = f"{written} ({sound})"
        yield Part(
            index=index,
            track=draft.track,
            channel=draft.channel,
            program=draft.program,
            name=written or sound,
            drum=draft.drum,
            pan=draft.pan,
            notes=draft.notes,
        )


def _tempos(tracks: Sequence[TrackEvents], unit: Division) -> tuple[TempoChange, ...]:
    """Merge the tempo changes of all tracks; the last one on a tick counts."""
    first = TempoChange(0, unit.microseconds_per_beat)
    if not unit.own_beat:
        return (first,)
    changes = [change for track in tracks for change in track.tempos]
    return tuple(TempoChange(*entry) for entry in _last_of_each_tick(changes, first))


def _metres(tracks: Sequence[TrackEvents]) -> tuple[MetreChange, ...]:
    """Merge the metre changes of all tracks; 4/4 until one is set."""
    changes = [change for track in tracks for change in track.metres]
    return tuple(MetreChange(*e) for e in _last_of_each_tick(changes, MetreChange(0, 4, 4)))


def _last_of_each_tick(
    changes: Iterable[tuple[int, ...]], first: tuple[int, ...]
) -> list[tuple[int, ...]]:
    """Return changes in order of tick, without those that change nothing."""
    by_tick = {0: first}
    for change in sorted(changes, key=lambda c: c[0]):
        by_tick[change[0]] = change
    kept: list[tuple[int, ...]] = []
    for change in by_tick.values():
        if not kept or kept[-1][1:] != change[1:]:
            kept.append(change)
    return kept
