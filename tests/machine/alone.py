"""The Z80 player with one song, as most tests want it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.machine.player import DEFAULT_ORIGIN, ENTRIES, Build, Image, build, source

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet


def binary(
    sheet: Sheet, engine: Engine, origin: int = DEFAULT_ORIGIN, entries: Sequence[str] = ENTRIES
) -> Image:
    return build([sheet], engine, Build(origin, entries))


def assembly(
    sheet: Sheet,
    engine: Engine,
    origin: int = DEFAULT_ORIGIN,
    entries: Sequence[str] = ENTRIES,
    prefix: str = "",
) -> str:
    return source([sheet], engine, Build(origin, entries, prefix=prefix))
