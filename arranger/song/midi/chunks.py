"""Where the header and the tracks of a MIDI file lie, however the file is wrapped or damaged.

A file is a header chunk ``MThd`` and track chunks ``MTrk``, each with a four-byte length (Standard
MIDI Files 1.0, RP-001). Chunks of other types are to be passed over. RIFF wrapping: RP-029.
"""

from __future__ import annotations

from struct import unpack
from typing import NamedTuple

from arranger.song.midi.syntax import chunk_end, is_division

_HEADER, _TRACK = b"MThd", b"MTrk"
_SHORT_NAMES = frozenset((b"Trk", b"Mrk", b"MTk"))
"""A track's name that lost a letter: its body starts seven bytes after it, not eight."""
_MOST_CHUNKS = 100
"""After so many chunks of other types in a row, the next track is searched for."""
ASSUMED_DIVISION = 480
"""Ticks a beat where the header names none that makes sense."""


class MidiHeader(NamedTuple):
    """The header chunk, mended."""

    midi_format: int
    tracks: int
    """As the header says."""
    division: int
    end: int
    """Where the chunks after it start."""


def midi_start(data: bytes) -> int:
    """Return where the MIDI data starts: at its header, or at a track without one; -1: nowhere."""
    if data.startswith(_HEADER):
        return 0
    # A length below 256 tells a header from the four letters in a text.
    header = data.find(_HEADER + b"\x00\x00\x00")
    if header >= 0:
        return header
    track = data.find(_TRACK + b"\x00")
    # A header whose name is damaged stands 14 bytes before the first track.
    return track - 14 if track >= 14 and data.startswith(b"\0\0\0\6", track - 10) else track


def unwrapped_end(data: bytes, start: int) -> int:
    """Return where the MIDI data of a RIFF file ends; the end of the data for any other file."""
    if data.startswith(b"RIFF") and data[8:12] == b"RMID" and data.startswith(b"data", start - 8):
        return min(len(data), start + int.from_bytes(data[start - 4 : start], "little"))
    return len(data)


def read_header(data: bytes, start: int, repairs: list[tuple[int, str]]) -> MidiHeader:
    """Read the header chunk at ``start``; add what was mended as (byte offset, what)."""
    if data.startswith(_TRACK, start):
        repairs.append((start, f"no header: {ASSUMED_DIVISION} ticks a beat assumed"))
        return MidiHeader(1, 0, ASSUMED_DIVISION, start)
    if not data.startswith(_HEADER, start):
        repairs.append((start, f"a chunk {data[start : start + 4]!r} was read as the header"))
    body = start + 8
    length = int.from_bytes(data[start + 4 : body])
    end = body + length
    if length != 6:
        repairs.append((start, f"a header of {length} bytes: the first 6 were read"))
        if length < 6 or not (end == len(data) or data[end : end + 4].isalpha()):
            end = body + 6
    cut = data.find(_TRACK, body, body + 6 + len(_TRACK) - 1)
    if cut >= 0:
        repairs.append((start, "a header cut short by the first track"))
        end = cut
    words = data[body : min(end, body + 6)].ljust(6, b"\0")
    midi_format, tracks, division = unpack(">3H", words)
    if midi_format > 2:
        repairs.append((body, f"format {midi_format} read as format 1"))
        midi_format = 1
    return MidiHeader(midi_format, tracks, _division(division, body + 4, repairs), end)


def _division(word: int, place: int, repairs: list[tuple[int, str]]) -> int:
    """Return a division that can be used."""
    if is_division(word):
        return word
    frames, ticks = 256 - (word >> 8), word & 0xFF
    if ticks:
        repairs.append((place, f"an odd SMPTE rate, {frames} frames a second: taken at its word"))
        return word
    what = "no ticks in a frame" if word else "no ticks in a beat"
    repairs.append((place, f"{what}: {ASSUMED_DIVISION} ticks a beat assumed"))
    return ASSUMED_DIVISION


def next_track(data: bytes, start: int, end: int, repairs: list[tuple[int, str]]) -> int:
    """Return where the next track chunk starts, or -1; passes over chunks of other types."""
    place = start
    while place + 8 <= end:
        name = data[place : place + 4]
        if name == _TRACK:
            return place
        if name[:3] in _SHORT_NAMES:
            repairs.append((place, f"a chunk {name[:3].decode()!r} was read as a track"))
            return place - 1
        if _is_like_track(name):
            repairs.append((place, f"a chunk {name.decode('latin-1')!r} was read as a track"))
            return place
        following = chunk_end(data, place)
        # A chunk of another type is believed when something sensible stands behind it.
        if not _is_name(name) or following > end or not _at_chunk(data, following, end):
            break
        if len(repairs) >= _MOST_CHUNKS:
            break
        repairs.append((place, f"a chunk {name.decode('latin-1')!r} was passed over"))
        place = following
    found = data.find(_TRACK, place, end - 4)
    stop = end if found == -1 else found
    lost = _short_name(data, place, stop)
    if lost is not None:
        repairs.append((lost, f"a chunk {data[lost : lost + 3].decode()!r} was read as a track"))
        return lost - 1
    skipped = stop - place
    if skipped > 0:
        plural = "s" if skipped > 1 else ""
        repairs.append((place, f"{skipped} byte{plural} that are no chunk were passed over"))
    return found


def track_limit(data: bytes, start: int, end: int) -> tuple[int, bool]:
    """Return where the events of the track chunk at ``start`` must end.

    The second value says whether the chunk's own length was believed. If it wasn't, the next track
    header or the end of the data is the limit.
    """
    declared = chunk_end(data, start)
    if declared <= end and _at_chunk(data, declared, end):
        return declared, True
    found = data.find(_TRACK, start + 8, end)
    return (end if found == -1 else found), False


def _is_name(name: bytes) -> bool:
    return len(name) == 4 and all(0x20 <= byte < 0x7F for byte in name)


def _short_name(data: bytes, start: int, end: int) -> int | None:
    """Return where a track's name that lost a letter stands close by, or None."""
    near = range(start, min(start + 8, end - 8))
    return next((place for place in near if data[place : place + 3] in _SHORT_NAMES), None)


def _is_like_track(name: bytes) -> bool:
    """Return whether at least two letters of a track's name are in their place."""
    return sum(a == b for a, b in zip(name, _TRACK, strict=True)) >= 2 and name != _HEADER


def _at_chunk(data: bytes, place: int, end: int) -> bool:
    """Return whether a chunk, or the end of the data, is here."""
    name = data[place : place + 4]
    if place == end or (len(name) == 4 and _is_like_track(name)):
        return True
    return _is_name(name) and chunk_end(data, place) <= end
