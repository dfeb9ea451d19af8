"""Standard MIDI Files: healthy ones go to mido as they are, others by way of `mend`.

mido does the parsing in either case. Departures from handing it the path:

1. It gets the bytes from memory, which it reads faster than a file.
2. A file over `_AT_ONCE` bytes is handed over in pieces, since each of mido's messages takes some
   hundred bytes of memory.
3. The header's division is decoded here; mido reads an SMPTE division as a negative resolution.
"""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING, Any

import mido

from arranger.errors import LimitError, SongError
from arranger.song.assemble import DEFAULT_TEMPO, assemble, unit_of
from arranger.song.chunks import midi_start, unwrapped_end
from arranger.song.events import Limits, TrackEvents, track_events
from arranger.song.mend import mend
from arranger.song.model import Repair
from arranger.song.repairs import Repairs
from arranger.song.syntax import is_healthy

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from arranger.settings import ReadSettings
    from arranger.song.model import Song

_AT_ONCE = 1 << 20


def read_midi(data: bytes, file: str, sha256: str, settings: ReadSettings) -> Song:
    """Read the bytes of a Standard MIDI File, damaged or not.

    Raises
    ------
    SongError
        If there is no track in them, or the asked pattern isn't there.
    LimitError
        If the file holds more than the settings allow.
    """
    repairs: list[Repair] = []
    tracks: Iterable[Iterable[Any]]
    if len(data) <= _AT_ONCE and is_healthy(data):
        _check_tracks(int.from_bytes(data[10:12]), settings)
        midi_format, division = int.from_bytes(data[8:10]), int.from_bytes(data[12:14])
        tracks = mido.MidiFile(file=BytesIO(data)).tracks
    else:
        made = Repairs()
        start = midi_start(data)
        end = unwrapped_end(data, start)
        mended = mend(data, start, end, settings.max_tracks, made)
        _check_tracks(len(mended.tracks), settings)
        if not mended.tracks:
            raise SongError("a MIDI header without any track")
        midi_format, division = mended.midi_format, mended.division
        tracks = (_messages(pieces) for pieces in mended.tracks)
        if start > 0:
            what = "the MIDI data was taken out of what surrounds it"
            repairs.append(Repair(f"file, byte 0x{start:04x}", what))
        repairs += made.listed()
    unit = unit_of(division)
    gathered = _gather(tracks, midi_format, settings, unit.ticks_per_beat * settings.max_beats)
    return assemble(gathered, midi_format, unit, file, sha256, settings, repairs)


def _gather(
    tracks: Iterable[Iterable[Any]], midi_format: int, settings: ReadSettings, longest: int
) -> list[TrackEvents]:
    """Gather the events of each track; the patterns of format 2 follow each other."""
    found: list[TrackEvents] = []
    room = settings.max_notes
    start = 0
    for index, messages in enumerate(tracks):
        limits = Limits(room, longest)
        if midi_format != 2:
            found.append(track_events(index, messages, 0, limits))
        elif settings.pattern in {None, index + 1}:
            pattern = track_events(index, messages, start, limits, device=index)
            pattern.tempos.insert(0, (start, DEFAULT_TEMPO))
            pattern.metres.insert(0, (start, 4, 4))
            found.append(pattern)
            start = pattern.end
        else:
            found.append(TrackEvents(index, start))
        room -= len(found[-1].notes)
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


def _messages(pieces: Iterable[bytes]) -> Iterator[Any]:
    """Let mido parse the events of one track piece by piece."""
    for piece in pieces:
        size = len(piece).to_bytes(4)
        file = BytesIO(b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk" + size + piece)
        yield from mido.MidiFile(file=file).tracks[0]


def _check_tracks(count: int, settings: ReadSettings) -> None:
    if count > settings.max_tracks:
        raise LimitError(
            f"more than {settings.max_tracks:,} tracks", remedy="raise the limit with --max-tracks"
        )
