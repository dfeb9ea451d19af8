"""The account of a merged sheet: each note once, heard where the account says it is."""

from __future__ import annotations

import random
from fractions import Fraction
from functools import cache
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.pipeline import Conversion, convert
from arranger.reduce import check_conservation
from arranger.settings import GridSettings, ReduceSettings, Settings
from arranger.sheet import tones
from arranger.sheet.by_hand import revise
from arranger.sheet.merge import merge
from arranger.song import read_song

from . import edits

SONGS = sorted((Path(__file__).parents[2] / "demo_songs").glob("*.mid"))[:4]
CHOICES = (
    Settings(),
    Settings(engine="twin-counter"),
    Settings(reduce=ReduceSettings(texture="two-highest", drums="none")),
    Settings(grid=GridSettings(bars=(2, 6)), reduce=ReduceSettings(transpose=2)),
    Settings(grid=GridSettings(step=Fraction(1, 4))),
)


@cache
def converted(song: int, choice: int) -> Conversion:
    chosen = CHOICES[choice]
    return convert(read_song(SONGS[song]), load_engine(chosen.engine), chosen)


def check_account(found: Conversion) -> None:
    """Check that what the ledger says is heard is heard, and that the sources agree with it."""
    check_conservation(found.reduction.ledger, len(found.song.notes))
    sheet, reduction = found.sheet, found.reduction
    assert (reduction.voice1, reduction.voice2, reduction.drums) == (
        sheet.voice1,
        sheet.voice2,
        sheet.drums,
    )
    heard = (None, tones(sheet.voice1), tones(sheet.voice2))
    cells: dict[int, set[tuple[int, int]]] = {}
    for entry in reduction.ledger.entries:
        for voice, first, steps in entry.spans:
            for step in range(first, first + steps):
                cells.setdefault(entry.note, set()).add((voice, step))
                if voice == 0:
                    assert sheet.drums[step] == entry.sound
                else:
                    assert heard[voice][step] == entry.pitch_out
    for voice, sources in ((1, reduction.sources1), (2, reduction.sources2)):
        assert len(sources) == sheet.steps
        for step, note in enumerate(sources):
            if note >= 0:
                assert heard[voice][step] == reduction.ledger.entries[note].pitch_out
    assert sum(bar.steps for bar in found.grid.bars) == found.grid.steps == sheet.steps


@given(
    st.integers(0, 2**32).map(random.Random),
    st.integers(0, len(SONGS) - 1),
    st.integers(0, len(CHOICES) - 2),
    st.integers(0, len(CHOICES) - 1),
)
@settings(max_examples=60, deadline=None)
def test_a_merged_sheet_has_an_account_of_every_note(
    rng: random.Random, song: int, first: int, second: int
) -> None:
    then, now = converted(song, first), converted(song, second)
    if (then.sheet.step_beats / now.sheet.step_beats).denominator != 1:
        return
    edited = edits.edit(rng, then.sheet).sheet
    check_account(revise(now, merge(edited, now.sheet)))
