"""Random sheets that an engine can play."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.engine.player_check import PASS_CYCLES
from arranger.rows import HOLD, REST
from arranger.sheet.form.as_bars import written_out
from arranger.sheet.model import SheetSound, SoundPart

from .strategies import randoms, sheets, some_hits, some_row, structured

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.sheet import Sheet

ENGINES = ("twin-phase", "twin-counter", "pc-alternate")


def own_sounds(engine: Engine) -> st.SearchStrategy[tuple[SheetSound, ...]]:
    """Drum sounds that a built-in engine can play, of up to two parts."""
    if engine.method == "alternate":
        kick = st.tuples(st.integers(2, 20_000), st.integers(0, 500))
        noise = st.tuples(st.integers(2, 30_000), st.integers(0, 30_000))
    else:  # whole passes, and no half period above 255 of them
        kick = st.tuples(st.integers(1, 60), st.integers(0, 10)).map(_passes)
        noise = st.tuples(st.integers(1, 60)).map(_passes)
    length = st.integers(100, 40_000)
    part = st.builds(SoundPart, st.just("kick"), kick, length) | st.builds(
        SoundPart, st.just("noise"), noise, length
    )
    sound = st.builds(
        SheetSound,
        st.sampled_from(["kick", "hat", "clank", "gong-2"]),
        st.lists(part, min_size=1, max_size=2).map(tuple),
    )
    return st.lists(sound, max_size=3, unique_by=lambda each: each.name).map(tuple)


def _passes(counts: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(PASS_CYCLES * count for count in counts)


@st.composite
def playable(draw: st.DrawFn, *, commented: bool = False) -> tuple[Sheet, Engine]:
    name = draw(st.sampled_from(ENGINES))
    engine = load_engine(name)
    sheet = draw(sheets(commented=commented))
    rng, pitches = draw(randoms), sorted(engine.pitches)
    own = draw(own_sounds(engine))
    names = [each.name for each in (*engine.drums, *own)]
    settings = st.sampled_from([entry.setting for entry in engine.step_lengths])
    sheet = replace(
        sheet,
        bars=written_out(sheet.bars),
        engine=name,
        length=draw(settings if sheet.tempo is None else st.none() | settings),
        voice1=some_row(rng, pitches, sheet.steps),
        voice2=some_row(rng, pitches, sheet.steps),
        sounds=own,
        drums=some_hits(rng, names, sheet.steps),
    )
    return draw(structured(sheet)), engine


def settled(row: tuple[int, ...]) -> tuple[int, ...]:
    """Return a row with silence in place of holds that hold nothing."""
    held = False
    found = []
    for cell in row:
        held = cell not in (HOLD, REST) or (held and cell == HOLD)
        found.append(cell if held else REST)
    return tuple(found)
