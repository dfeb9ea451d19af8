"""One bar as the program would write it under another texture, the rest of the sheet being as it is."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from arranger.conversion import measure_of
from arranger.errors import SettingsError
from arranger.reduce import reduce
from arranger.review.edits import with_bar
from arranger.rows import HOLD, REST, tones
from arranger.sheet.bar_edits.choice import DRUMS, VOICES

if TYPE_CHECKING:
    from arranger.conversion.behind import Behind, InSheet
    from arranger.sheet.model import Sheet

TEXTURES = ("tune-and-bass", "broken-chord", "two-highest", "bass-and-chord")


def under_texture(behind: Behind, now: InSheet, bar: int, texture: str) -> Sheet:
    """Return the sheet with the voices of a bar written anew, under another texture.

    Its drums are those of the new writing too, short silences between repeated tones among them,
    unless a hand has changed them: those stay.

    Parameters
    ----------
    behind, now
        The song, and the sheet as it stands.
    bar
        Index of the bar in the sheet.
    texture
        One of `TEXTURES`, or "auto": as the song's settings say.

    Raises
    ------
    SettingsError
        If the bar isn't the song's, or there is no such texture.
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
