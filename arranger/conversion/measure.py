"""How many bytes a song takes as an engine's program has it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.machine.size import song_bytes
from arranger.sheet.model import Sheet, SheetBar

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.engine.model import Engine
    from arranger.grid.model import Grid
    from arranger.reduce.perform.byte_limit import Measure
    from arranger.rows import Row


def measure_of(engine: Engine, grid: Grid) -> Measure:
    """Return a function of two rows and the names of the drum sounds: the bytes that they take."""

    def measure(rows: tuple[Row, Row], drums: Sequence[str | None]) -> int:
        sheet = Sheet(
            title="",
            engine=engine.name,
            step_beats=grid.step_beats,
            length=grid.step_length.setting,
            bars=tuple(SheetBar(b.number, b.steps, b.numerator, b.denominator) for b in grid.bars),
            voice1=rows[0],
            voice2=rows[1],
            drums=tuple(drums),
            loop_step=grid.loop_step,
        )
        return song_bytes(sheet, engine)

    return measure
