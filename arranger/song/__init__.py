"""Reading songs: MIDI and notation files become one immutable model.

abc_text       ABC texts made ready for music21, which misreads some repeat marks
assemble       The gathered tracks of a MIDI file become a song
bends          Pitch bend: where it holds a note on another semitone
channels       One sweep in playing order: which program
chunks         Where the header and the tracks of a MIDI file lie
events         One pass over the messages of a track: notes with their ends
general_midi   General MIDI Level 1: names of programs and of percussion keys, one table each
held_pedals    Pedals that stay down through many harmonies, or are never lifted
mend           The mending reader: damaged or unusual MIDI bytes become clean ones
messages       Clean track bytes become messages, each distinct channel message read only once
midi           Standard MIDI Files: healthy ones are read as they are, others by way of `mend`
model          The song as read: notes, parts, tempo and metre maps. Immutable
modes          Messages that turn a channel into drums or back, and coarse tuning
notation       What a score that music21 parsed holds: notes, tempo, bars, keys and words
notes          The notes of a song: columns for work on all of them
pedals         Pedals and silencing: where a note really ends after its key was released
raw            The notes of all tracks as the file writes them, as columns in playing order
reader         From a file to a song: look at the bytes, and hand them to the reader that fits
repairs        The list of what was mended
repeat_signs   The repeat signs of a score that music21 parsed, and the order of bars
repeats        In which order the bars of a score are played: repeats, endings
score_process  Scores are read in a process of their own, so
score_worker   The process that reads scores: one after the other from standard input, until
scores         Notation files through music21: MusicXML, ABC, Humdrum and MEI become songs
sniff          What a file is, by its bytes; its name only helps where the bytes leave it open
syntax         The grammar of events in a Standard MIDI File, as byte patterns
text           Text inside files, in whatever encoding it was written
time           Ticks to seconds and ticks to bars, from a song's tempo and metre maps
walk           The walk through the events of one track, mending what is not by the standard
words          The words that are sung, by bar
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
