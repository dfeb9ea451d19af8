"""Edits as functions: a sheet becomes another one, and every bar that isn't meant plays what it played.

All are made of one kind of change (`with_cells`), put together by `arranger.sheet.bar_edits`: a tone
that is held into or out of what changes starts anew there, and bars that are as the edited one follow
it. Steps are counted in the sheet from 0; rows are 0 and 1 for the voices, 2 for the drums.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from arranger.conversion import measure_of
from arranger.errors import SettingsError
from arranger.reduce import reduce
from arranger.rows import HOLD, REST, tones
from arranger.sheet.bar_edits.taken_apart import changed, put_together, take_apart
from arranger.sheet.bar_edits.which_bars import DRUMS, VOICES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from arranger.engine.model import Engine
    from arranger.sheet.bar_edits.taken_apart import MovableBar
    from arranger.sheet.model import Sheet

    Cells = Mapping[tuple[int, int], int | str | None]
    """By row and step: a pitch, `HOLD` or `REST`; in the drum row a sound's name or None."""
    from arranger.conversion.behind import Behind, InSheet


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

    def change(block: MovableBar) -> MovableBar:
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


TEXTURES = ("tune-and-bass", "broken-chord", "two-highest", "bass-and-chord")


def under_texture(behind: Behind, now: InSheet, bar: int, texture: str) -> Sheet:
    """Return the sheet with the voices of a bar written anew, under another texture.

    Its drums are those of the new writing too, short silences between repeated tones among them,
    unless a hand has changed them: those stay.

    ``behind``, ``now``: the song, and the sheet as it stands.
    ``bar``: index of the bar in the sheet.
    ``texture``: one of `TEXTURES`, or "auto": as the song's settings say.

    Raises `SettingsError` if the bar isn't the song's, or there is no such texture.
    """
    sheet, song_bar = now.conversion.sheet, now.conversion.grid.bars[bar]
    if texture not in (*TEXTURES, "auto"):
        raise SettingsError(f"there is no texture {texture!r}", remedy=", ".join(TEXTURES))
    number = song_bar.number if song_bar.song_number is None else song_bar.song_number
    grid = behind.conversion.grid
    places = {each.number: each for each in grid.bars}
    if not song_bar.in_song or number not in places or behind.source is None:
        raise SettingsError(f"bar {song_bar.number} isn't in the song: it was put in by hand")
    place = places[number]
    if place.steps != song_bar.steps:
        raise SettingsError(f"bar {song_bar.number} isn't as long as the song's")
    asked = behind.conversion.settings.reduce
    if texture != "auto":
        asked = replace(
            asked, section_textures={**asked.section_textures, f"{number}-{number}": texture}
        )
    found = reduce(
        behind.conversion.song,
        behind.conversion.engine,
        grid,
        asked,
        measure_of(behind.conversion.engine, grid),
        behind.conversion.reduction.weights,
    )
    steps = slice(place.first_step, place.first_step + place.steps)
    rows: dict[int, tuple[int | str | None, ...]] = {}
    for voice, row in zip(VOICES, (found.voice1, found.voice2), strict=True):
        rows[voice] = _standing_alone(row, steps, _left(sheet, voice, song_bar.first_step))
    if DRUMS + 1 not in now.edited[bar]:
        rows[DRUMS] = found.drums[steps]
    return with_bar(sheet, bar, rows)


def _left(sheet: Sheet, voice: int, step: int) -> int | None:
    """Return the pitch that a voice still holds before a step."""
    row = (sheet.voice1, sheet.voice2)[voice]
    return tones(row)[step - 1] if step else None


def _standing_alone(row: tuple[int, ...], steps: slice, left: int | None) -> tuple[int, ...]:
    """Return the cells of a stretch; a tone that it holds begins there unless it is left to it."""
    cells = row[steps]
    if cells[0] != HOLD:
        return cells
    held = tones(row)[steps.start]
    if held is not None and held == left:
        return cells
    return (REST if held is None else held, *cells[1:])
