"""arranger: MIDI arrangements become two-voice music for one-bit speakers.

The public API, a stage a function; each takes and returns plain immutable values:

>>> import arranger
>>> sorted(arranger.__all__)  # doctest: +NORMALIZE_WHITESPACE
['Conversion', 'Settings', '__version__', 'convert', 'load_engine', 'read_sheet', 'read_song',
 'render', 'write_sheet']
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from arranger.version import VERSION

if TYPE_CHECKING:
    from arranger.conversion import Conversion, convert
    from arranger.engine import load_engine
    from arranger.settings import Settings
    from arranger.sheet import read_sheet, write_sheet
    from arranger.song import read_song
    from arranger.sound import render

__version__ = VERSION

__all__ = [
    "Conversion", "Settings", "__version__", "convert", "load_engine", "read_sheet", "read_song",
    "render", "write_sheet",
]  # fmt: skip

_HOMES = {
    "Conversion": "arranger.conversion.pipeline",
    "Settings": "arranger.settings",
    "convert": "arranger.conversion.pipeline",
    "load_engine": "arranger.engine",
    "read_sheet": "arranger.sheet",
    "read_song": "arranger.song",
    "render": "arranger.sound",
    "write_sheet": "arranger.sheet",
}


def __getattr__(name: str) -> Any:
    # Loaded on first use: the command line must start without numpy, mido and pydantic.
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    message = f"module {__name__!r} has no attribute {name!r}"
    raise AttributeError(message)
