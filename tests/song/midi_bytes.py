"""MIDI files written by hand: bytes as hex, with lengths filled in."""

from __future__ import annotations

from arranger.settings import ReadSettings
from arranger.song import Song, read_song_bytes

END = "00 FF 2F 00"
QUARTER_C4 = "00 90 3C 40 60 80 3C 40"  # C4 for 96 ticks
QUARTER_E4 = "00 90 40 40 60 80 40 40"


def chunk(name: str, content: bytes, length: int | None = None) -> bytes:
    """Return a chunk; its length is right unless one is given."""
    size = len(content) if length is None else length
    return name.encode("ascii") + size.to_bytes(4) + content


def header(midi_format: int = 1, tracks: int = 1, division: int = 96) -> bytes:
    return chunk("MThd", b"".join(n.to_bytes(2) for n in (midi_format, tracks, division)))


def track(*events: str, end: str = END, length: int | None = None) -> bytes:
    """Return a track chunk from hex, with an end-of-track event unless ``end`` is empty."""
    return chunk("MTrk", bytes.fromhex(" ".join((*events, end))), length)


def one_track(*events: str, division: int = 96) -> bytes:
    return header(0, 1, division) + track(*events)


def read(data: bytes, **settings: object) -> Song:
    return read_song_bytes(data, "test.mid", ReadSettings(**settings))  # type: ignore[arg-type]


def notes(song: Song) -> list[tuple[int, int, int]]:
    """Return onset, duration and pitch of each note."""
    return [(note.onset, note.duration, note.pitch) for note in song.notes]


def meta(kind: int, content: bytes) -> str:
    """Return a meta event of at most 127 bytes, as hex, without its delta time."""
    return f"FF {kind:02X} {len(content):02X} {content.hex()}"
