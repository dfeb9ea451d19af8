"""Sheets by hand and by chance, for tests of sound and exports."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from hypothesis import strategies as st

from arranger.rows import HOLD, REST
from arranger.sheet.model import Sheet, SheetBar

if TYPE_CHECKING:
    from arranger.engine.model import Engine


def sheet_of(
    engine: Engine,
    voice1: list[int],
    voice2: list[int] | None = None,
    drums: list[str | None] | None = None,
    *,
    length: int | None = None,
    title: str = "Test piece",
    loop_step: int | None = None,
) -> Sheet:
    """Return a sheet of one bar; voices left out are silent; the shortest step unless asked."""
    steps = len(voice1)
    return Sheet(
        title=title,
        engine=engine.name,
        step_beats=Fraction(1, 4),
        length=engine.step_lengths[0].setting if length is None else length,
        bars=(SheetBar(1, steps, 4, 4),),
        voice1=tuple(voice1),
        voice2=tuple(voice2 or [REST] * steps),
        drums=tuple(drums or [None] * steps),
        loop_step=loop_step,
    )


@st.composite
def sheets(draw: st.DrawFn, engine: Engine, *, max_steps: int = 24) -> Sheet:
    """Draw a sheet that the engine can play."""
    steps = draw(st.integers(1, max_steps))
    cells = st.sampled_from([HOLD, HOLD, REST, *engine.pitches])
    names = st.sampled_from([None, None, None, *(drum.name for drum in engine.drums)])
    return sheet_of(
        engine,
        draw(st.lists(cells, min_size=steps, max_size=steps)),
        draw(st.lists(cells, min_size=steps, max_size=steps)),
        draw(st.lists(names, min_size=steps, max_size=steps)),
        loop_step=draw(st.none() | st.integers(0, steps - 1)),
    )
