"""Reading songs: MIDI and notation files become one immutable model."""
