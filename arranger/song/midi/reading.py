"""Standard MIDI Files: healthy ones are read as they are, others by way of `mend`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.errors import LimitError, SongError
from arranger.song.midi.assemble import DEFAULT_TEMPO, assemble_song, unit_of
from arranger.song.midi.chunks import midi_start, unwrapped_end
from arranger.song.midi.events import TrackBytes, TrackEvents, TrackLimits, track_events
from arranger.song.midi.mend import mend
from arranger.song.midi.syntax import chunk_end, header_words, is_healthy
from arranger.song.model import Repair
from arranger.song.repairs import Repairs

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from arranger.settings import ReadSettings
    from arranger.song.model import Song


_LONGEST_PAUSE = 10_000
"""Beats; a longer pause is damage. Raising the limit for songs raises it to a fifth of that."""


def read_midi(data: bytes, file: str, sha256: str, settings: ReadSettings) -> Song:
    """Read the bytes of a Standard MIDI File, damaged or not.

    Raises `SongError` if there is no track in them, or the asked pattern isn't there; `LimitError`
    if the file holds more than the settings allow.
    """
    repairs: list[Repair] = []
    tracks: Iterable[TrackBytes]
    if is_healthy(data):
        midi_format, count, division = header_words(data)
        _check_tracks(count, settings)
        tracks = _healthy_tracks(data)
    else:
        made = Repairs()
        start = midi_start(data)
        end = unwrapped_end(data, start)
        mended = mend(data, start, end, settings.max_tracks, made)
        _check_tracks(len(mended.tracks), settings)
        if not mended.tracks:
            raise SongError("a MIDI header without any track")
        midi_format, division = mended.midi_format, mended.division
        tracks = (TrackBytes(track, 0, len(track)) for track in mended.tracks)
        if start > 0:
            what = "the MIDI data was taken out of what surrounds it"
            repairs.append(Repair(f"file, byte 0x{start:04x}", what))
        repairs += made.listed()
    unit = unit_of(division)
    longest_pause = unit.ticks_per_beat * max(settings.max_beats // 5, _LONGEST_PAUSE)
    gathered = _gather(tracks, midi_format, settings, longest_pause)
    return assemble_song(gathered, midi_format, unit, file, sha256, settings, repairs)


def _gather(
    tracks: Iterable[TrackBytes], midi_format: int, settings: ReadSettings, longest_pause: int
) -> list[TrackEvents]:
    """Gather the events of each track; the patterns of format 2 follow each other."""
    found: list[TrackEvents] = []
    room = room_for_others = settings.max_notes
    start = 0
    for index, track in enumerate(tracks):
        limits = TrackLimits(room, room_for_others, longest_pause)
        if midi_format != 2:
            found.append(track_events(index, track, 0, limits))
        elif settings.pattern in {None, index + 1}:
            pattern = track_events(index, track, start, limits, device=index)
            pattern.tempos = [(start, DEFAULT_TEMPO), *pattern.tempos]
            pattern.metres = [(start, 4, 4), *pattern.metres]
            found.append(pattern)
            start = pattern.end
        else:
            found.append(TrackEvents(index, start))
        room -= len(found[-1].notes)
        room_for_others -= found[-1].others
    if settings.pattern is not None:
        _check_pattern(settings.pattern, len(found) if midi_format == 2 else 0)
    return found


def _check_pattern(pattern: int, count: int) -> None:
    """Complain about a pattern that isn't there."""
    if not count:
        raise SongError("only format 2 files have patterns", remedy="leave --pattern out")
    if not 1 <= pattern <= count:
        raise SongError(
            f"there is no pattern {pattern}", remedy=f"choose one from 1 to {count} with --pattern"
        )


def _healthy_tracks(data: bytes) -> Iterator[TrackBytes]:
    """Yield the events of each track of a healthy file."""
    place = 14
    while place < len(data):
        end = chunk_end(data, place)
        yield TrackBytes(data, place + 8, end)
        place = end


def _check_tracks(count: int, settings: ReadSettings) -> None:
    if count > settings.max_tracks:
        raise LimitError(
            f"more than {settings.max_tracks:,} tracks", remedy="raise the limit with --max-tracks"
        )
