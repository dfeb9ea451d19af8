"""Random sheets that an engine can play."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.rows import HOLD, REST

from .strategies import sheets

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.sheet import Sheet

ENGINES = ("twin-phase", "twin-counter", "pc-alternate")


@st.composite
def playable(draw: st.DrawFn, *, commented: bool = False) -> tuple[Sheet, Engine]:
    name = draw(st.sampled_from(ENGINES))
    engine = load_engine(name)
    sheet = draw(sheets(commented=commented))
    pitch = st.sampled_from(sorted(engine.pitches))
    cell = pitch | st.sampled_from([HOLD, HOLD, REST])
    row = st.lists(cell, min_size=sheet.steps, max_size=sheet.steps).map(tuple)
    sound = st.none() | st.sampled_from([None, *(drum.name for drum in engine.drums)])
    return replace(
        sheet,
        engine=name,
        step_setting=draw(st.sampled_from([entry.setting for entry in engine.step_lengths])),
        voice1=draw(row),
        voice2=draw(row),
        drums=draw(st.lists(sound, min_size=sheet.steps, max_size=sheet.steps).map(tuple)),
    ), engine


def settled(row: tuple[int, ...]) -> tuple[int, ...]:
    """Return a row with silence in place of holds that hold nothing."""
    held = False
    found = []
    for cell in row:
        held = cell not in (HOLD, REST) or (held and cell == HOLD)
        found.append(cell if held else REST)
    return tuple(found)
