"""The mending reader: damaged or unusual MIDI bytes become clean ones by the standard.

Chunks are found by `arranger.song.midi.chunks`, the events of each track are walked by
`arranger.song.midi.walk`. Everything that is changed is listed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from arranger.song.midi import chunks
from arranger.song.midi.syntax import chunk_end
from arranger.song.midi.walk import Walk

if TYPE_CHECKING:
    from arranger.song.midi.chunks import MidiHeader
    from arranger.song.repairs import Repairs


@dataclass(frozen=True, slots=True)
class Mended:
    """A MIDI file as clean bytes."""

    midi_format: int
    division: int
    tracks: list[bytes]
    """The events of each track."""


def mend(data: bytes, start: int, end: int, most_tracks: int, repairs: Repairs) -> Mended:
    """Mend the MIDI data in ``data[start:end]``; see the module.

    Reads at most ``most_tracks + 1`` tracks, so that the caller sees when there are too many.
    """
    notes: list[tuple[int, str]] = []
    header = chunks.read_header(data, start, notes)
    tracks: list[bytes] = []
    place = header.end
    while len(tracks) <= most_tracks:
        place = chunks.next_track(data, place, end, notes)
        for byte, what in notes:
            repairs.add(0, byte, what)
        notes.clear()
        if place < 0:
            break
        limit, trusted = chunks.track_limit(data, place, end)
        declared = chunk_end(data, place)
        walk = Walk(data, min(place + 8, end), limit, declared, len(tracks) + 1, repairs)
        walk.run()
        if walk.place != declared:
            told = declared - place - 8
            what = f"the chunk says {told:,} bytes, its events take {walk.place - place - 8:,}"
            repairs.add(len(tracks) + 1, place + 4, what)
        tracks.append(bytes(walk.out))
        place = limit if trusted and limit > walk.place else walk.place
    midi_format = _format(header, len(tracks), start, repairs)
    return Mended(midi_format, header.division, tracks)


def _format(header: MidiHeader, tracks: int, start: int, repairs: Repairs) -> int:
    """Return the format that fits, and list a wrong count of tracks."""
    if header.tracks != tracks and header.end > start:
        repairs.add(0, start + 10, f"the header counts {header.tracks} tracks, there are {tracks}")
    if header.midi_format == 0 and tracks > 1:
        repairs.add(0, start + 8, "format 0 with several tracks: read as format 1")
        return 1
    return header.midi_format
