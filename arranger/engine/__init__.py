"""Engines: playing routines described by TOML files.

profile_check  What the schema alone can't say of a profile, and messages that a person can act on
create         A commented TOML file from which a musician describes a routine of their own
describe       An engine in words and figures: for people as lines, for scripts as plain values
layout         How a routine's song data looks: the table ``[export]`` of an engine's file
layout_check   What the schema alone can't say of such a table
load           Loading engines: built in by name, or a musician's own TOML file by path
model          What the other layers need to know of an engine: its pitches
player_check   What this project's own Z80 player can play: ``player = "z80"`` in an engine's file
profile        What an engine's TOML file says, and within which limits
schema         The schema that a musician's own engine file is held to
pitch_table    From a profile to pitches and step lengths, in exact clock arithmetic
tuning         Which notes of a song an engine plays out of tune, here or in another key
"""

from arranger.engine.load import builtin_engines, load_engine, parse_engine
from arranger.engine.model import DrumSound, Engine, Pitch, StepLength
from arranger.engine.profile import DrumPart

__all__ = [
    "DrumPart", "DrumSound", "Engine", "Pitch", "StepLength", "builtin_engines", "load_engine",
    "parse_engine",
]  # fmt: skip
