"""Reading songs: MIDI and notation files become one immutable model.

general_midi  General MIDI Level 1: names of programs and of percussion keys, one table each
midi          Standard MIDI Files: damaged bytes mended, messages gathered, notes with their ends
model         The song as read: notes, parts, tempo and metre maps. Immutable
notes         The notes of a song: columns for work on all of them
reader        From a file to a song: look at the bytes, and hand them to the reader that fits
repairs       The list of what was mended
score         Scores through music21: read in a process of their own, bars in the order in which they are played
sniff         What a file is, by its bytes; its name only helps where the bytes leave it open
charsets      Text inside files, in whatever encoding it was written
time          Ticks to seconds and ticks to bars, from a song's tempo and metre maps
words         The words that are sung, by bar
"""

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
    "Control", "KeyChange", "Mark", "MetreChange", "Note", "Part", "Repair", "Song", "TempoChange",
    "Track", "read_song", "read_song_bytes",
]  # fmt: skip
