"""Reading songs: MIDI and notation files become one immutable model."""

from arranger.song.model import (
    Control,
    KeyChange,
    Mark,
    MetreChange,
    Note,
    Part,
    Repair,
    Song,
    TempoChange,
    Track,
)
from arranger.song.reader import read_song, read_song_bytes

__all__ = [
    "Control",
    "KeyChange",
    "Mark",
    "MetreChange",
    "Note",
    "Part",
    "Repair",
    "Song",
    "TempoChange",
    "Track",
    "read_song",
    "read_song_bytes",
]
