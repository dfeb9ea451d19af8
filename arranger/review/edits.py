"""Edits as functions: a sheet becomes another one, and every bar that isn't meant plays what it played.

All are made of one kind of change (`with_cells`), put together by `arranger.sheet.bar_edits`: a tone
that is held into or out of what changes starts anew there, and bars that are as the edited one follow
it. Steps are counted in the sheet from 0; rows are 0 and 1 for the voices, 2 for the drums.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from arranger.rows import HOLD, REST, tones
from arranger.sheet.bar_edits.choice import DRUMS, VOICES
from arranger.sheet.bar_edits.taken_apart import changed, put_together, take_apart

if TYPE_CHECKING:
    from collections.abc import Mapping

    from arranger.engine.model import Engine
    from arranger.sheet.bar_edits.taken_apart import Block
    from arranger.sheet.model import Sheet

    Cells = Mapping[tuple[int, int], int | str | None]
    """By row and step: a pitch, `HOLD` or `REST`; in the drum row a sound's name or None."""


class Tone(NamedTuple):
    """A tone to be put into a voice."""

    voice: int
    """0 or 1."""
    pitch: int
    start: int
    """Its first step."""
    end: int
    """The step after its last."""


def with_cells(sheet: Sheet, cells: Cells) -> Sheet:
    """Return the sheet with other cells.

    Holds that have nothing to hold any more, in the bars and voices that change, become silence.
    """
    rows = _written(sheet, cells)
    left = [[None, *tones(tuple(row))] for row in rows]
    starts = sheet.bar_starts
    bars = {
        index
        for index, (start, end) in enumerate(pairwise(starts))
        if any(start <= at < end for _, at in cells)
    }

    def change(block: Block) -> Block:
        start, end = starts[block.key : block.key + 2]
        voices, held = list(block.rows[:2]), list(block.held)
        for voice in VOICES:
            if not any(row == voice and start <= at < end for row, at in cells):
                continue
            if (voice, start) in cells:
                held[voice] = left[voice][start]
            before = REST if held[voice] is None else held[voice]
            voices[voice] = _without_empty_holds(before, rows[voice][start:end])
        drums = tuple(cells.get((DRUMS, at), sheet.drums[at]) for at in range(start, end))
        hits = tuple(None if hit is None else str(hit) for hit in drums)
        return replace(block, rows=(voices[0], voices[1], hits), held=(held[0], held[1]))

    found, _ = changed(take_apart(sheet), bars, change)
    return put_together(sheet, found).sheet


def with_tone(sheet: Sheet, tone: Tone, engine: Engine) -> Sheet:
    """Return the sheet with a tone in a voice: what it covers ends before it, or goes on behind it.

    Where the same pitch sounds straight before it, or starts straight behind it, the engine's short
    silence parts the two, or a silent step.
    """
    row = (sheet.voice1, sheet.voice2)[tone.voice]
    sounding = tones(row)
    cells: dict[tuple[int, int], int | str | None] = {
        (tone.voice, at): HOLD for at in range(tone.start, tone.end)
    }
    cells[tone.voice, tone.start] = tone.pitch
    if tone.end < sheet.steps and row[tone.end] == HOLD:
        again = sounding[tone.end]
        cells[tone.voice, tone.end] = REST if again is None else again
    now = with_cells(sheet, cells)
    for border in (tone.start, tone.end):
        now = _parted(now, tone.voice, border, tone.pitch, engine)
    return now


def with_bar(sheet: Sheet, bar: int, rows: Mapping[int, tuple[int | str | None, ...]]) -> Sheet:
    """Return the sheet with whole rows of a bar; each is as long as the bar, by row."""
    start = sheet.bar_starts[bar]
    return with_cells(
        sheet,
        {(row, start + at): cell for row, cells in rows.items() for at, cell in enumerate(cells)},
    )


def _written(sheet: Sheet, cells: Cells) -> list[list[int]]:
    """Return the voices with the cells in their places."""
    rows = [list(sheet.voice1), list(sheet.voice2)]
    for (row, at), cell in cells.items():
        if row != DRUMS:
            rows[row][at] = REST if cell is None else int(cell)
    return rows


def _without_empty_holds(before: int | None, row: list[int]) -> tuple[int, ...]:
    held = tones((REST if before is None else before, *row))[1:]
    return tuple(
        REST if cell == HOLD and now is None else cell for cell, now in zip(row, held, strict=True)
    )


def _parted(sheet: Sheet, voice: int, step: int, pitch: int, engine: Engine) -> Sheet:
    """Return the sheet with a silence before a step, if a tone begins there that nothing parts."""
    rows = (sheet.voice1, sheet.voice2)
    if not 0 < step < sheet.steps or rows[voice][step] != pitch or sheet.drums[step] is not None:
        return sheet
    before = [tones(row)[step - 1] for row in rows]
    if pitch not in before:
        return sheet
    if engine.gap is not None:
        return with_cells(sheet, {(DRUMS, step): engine.gap.name})
    if before[voice] == pitch and rows[voice][step - 1] == HOLD:
        return with_cells(sheet, {(voice, step - 1): REST})
    return sheet
