"""Player code and song data for the machine.

    alternate_player  The player of a timer channel that alternates
    assembler         A two-pass assembler for the Z80 instructions that the player uses
    c_export          The piece as C99 source, for the player in C beside it (duet_player.h, .c)
    data_export       The song data alone, plain and unpacked, for a player of the musician's own
    exporters         The formats of ``arranger export``: one line each
    json_export       The piece as JSON: per step what sounds, for programs of any kind
    layout            Song data as a routine of the musician's own reads them
    export_options    What a user can choose of an export
    packing           Song data for the player: events as bytes, phrases, tables
    phrases           Which symbols of a song are stored once: phrases, which hold phrases in turn
    player            The Z80 player with songs: source text and bytes at an address
    player_source     The player's source text, from its parts
    program_export    Player and songs together: bytes for memory, Intel HEX, or a source for an assembler
    size              How much memory a piece takes
    song_source       Songs as source text for the Z80 player

The names below are looked up when they are first used: the table of export formats beside them is
wanted by the command line's help, which must not wait for numerical libraries.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.lazy import looked_up

if TYPE_CHECKING:
    from arranger.machine.packing import PackedSong, pack
    from arranger.machine.player import Image
    from arranger.machine.size import song_bytes

__all__ = ["Image", "PackedSong", "pack", "song_bytes"]

__getattr__ = looked_up(
    __name__, {"Image": "player", "PackedSong": "packing", "pack": "packing", "song_bytes": "size"}
)
