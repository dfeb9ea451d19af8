"""Engines: playing routines described by TOML files."""

from arranger.engine.load import builtin_engines, load_engine, parse_engine
from arranger.engine.model import DrumSound, Engine, Pitch, StepLength

__all__ = [
    "DrumSound",
    "Engine",
    "Pitch",
    "StepLength",
    "builtin_engines",
    "load_engine",
    "parse_engine",
]
