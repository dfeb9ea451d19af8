"""Standard MIDI Files: damaged bytes mended, messages gathered, notes with their ends.

assemble     The gathered tracks of a MIDI file become a song
bends        Pitch bend: where it holds a note on another semitone
channels     One sweep in playing order: which program
chunks       Where the header and the tracks of a MIDI file lie
events       One pass over the messages of a track: notes with their ends
held_pedals  Pedals that stay down through many harmonies, or are never lifted
mend         The mending reader: damaged or unusual MIDI bytes become clean ones
messages     Clean track bytes become messages, each distinct channel message read only once
modes        Messages that turn a channel into drums or back, and coarse tuning
pedals       Pedals and silencing: where a note really ends after its key was released
raw          The notes of all tracks as the file writes them, as columns in playing order
reading      Standard MIDI Files: healthy ones are read as they are, others by way of `mend`
syntax       The grammar of events in a Standard MIDI File, as byte patterns
walk         The walk through the events of one track, mending what is not by the standard
"""
