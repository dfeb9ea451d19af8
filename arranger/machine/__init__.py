"""Player code and song data for the machine.

The names below are looked up when they are first used: the table of export formats beside them is
wanted by the command line's help, which must not wait for numerical libraries.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from arranger.machine.packing import PackedSong, pack
    from arranger.machine.player import Image, assembly, binary
    from arranger.machine.size import song_bytes

__all__ = ["Image", "PackedSong", "assembly", "binary", "pack", "song_bytes"]

_MODULES = {
    "Image": "player",
    "PackedSong": "packing",
    "assembly": "player",
    "binary": "player",
    "pack": "packing",
    "song_bytes": "size",
}


def __getattr__(name: str) -> object:
    if name not in _MODULES:
        message = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(message)
    return getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)
