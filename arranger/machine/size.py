"""How much memory a piece takes."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet


def song_bytes(sheet: Sheet, engine: Engine) -> int:
    """Return how many bytes the song takes in memory, its player not counted.

    For an engine without a player here: the bytes of the song data that it is exported as.

    Raises
    ------
    SheetError
        If the engine can't play the sheet.
    """
    if engine.profile.player:
        from arranger.machine.packing import packed_bytes

        return packed_bytes(sheet, engine)
    if engine.method == "alternate" and engine.profile.export is None:
        from arranger.machine.alternate_player import song_data

        return len(song_data(sheet, engine))
    from arranger.machine.data_export import data_size

    return data_size(sheet, engine)
