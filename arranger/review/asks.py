"""What the page asks for, as edits of a sheet. All that comes in is checked; what is wrong is told.

======== ============================== ==========================================================
``do``   with                           is
======== ============================== ==========================================================
cells    row, step, words               cells of a row from a step on, as one types them
take     note, row, sound (of a drum)   a note of the song that isn't heard, put there
texture  bar, texture                   a bar written anew by the program
======== ============================== ==========================================================
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.errors import UsageError
from arranger.pitch import pitch_name
from arranger.review.edits import under_texture, with_cells
from arranger.review.lost_notes import places
from arranger.sheet.bar_edits.which_bars import DRUMS
from arranger.sheet.form.cells import read_hits, read_tones
from arranger.song.general_midi import percussion_name

if TYPE_CHECKING:
    from collections.abc import Mapping

    from arranger.conversion import Conversion
    from arranger.conversion.behind import Behind, InSheet
    from arranger.sheet.form.header_values import UnknownWord
    from arranger.sheet.model import Sheet

    Ask = Mapping[str, Any]

_LONGEST = 20_000
"""Characters of cells typed."""


class Edit(NamedTuple):
    """A sheet with what was asked for."""

    sheet: Sheet
    told: str
    """What was done, in words."""


def edit_of(behind: Behind, now: InSheet, ask: Ask) -> Edit:
    """Return what an ask makes of a sheet.

    Raises `UsageError` if the ask is none; `SettingsError` if the sheet has no place for it.
    """
    what = ask.get("do")
    if what == "cells":
        return _cells(now.conversion, ask)
    if what == "take":
        return _take(behind, now.conversion, ask)
    if what == "texture":
        return _texture(behind, now, ask)
    raise UsageError(f"there is no edit {what!r}")


def _cells(now: Conversion, ask: Ask) -> Edit:
    sheet = now.sheet
    row, step = number(ask, "row", DRUMS), number(ask, "step", sheet.steps - 1)
    words = ask.get("words")
    if not isinstance(words, str) or len(words) > _LONGEST:
        raise UsageError("the cells are missing")
    faults: list[UnknownWord] = []
    typed = words.replace("|", " ").split()
    cells: list[int] | list[str | None]
    if row == DRUMS:
        cells = read_hits(["drums", *typed], {".": None}, faults)
    else:
        cells = read_tones(["voice", str(row + 1), *typed], faults)
    if faults:
        raise UsageError(faults[0].what, remedy=faults[0].remedy)
    if step + len(cells) > sheet.steps or not cells:
        raise UsageError(f"there are {len(cells)} cells, and {sheet.steps - step} places")
    found = with_cells(sheet, {(row, step + at): cell for at, cell in enumerate(cells)})
    return Edit(found, f"{_place(now, step)}, {_row(row)} typed")


def _take(behind: Behind, now: Conversion, ask: Ask) -> Edit:
    note, row = number(ask, "note", len(now.song.notes) - 1), number(ask, "row", DRUMS)
    sound = ask.get("sound")
    for place in places(behind, now, note):
        if place.row == row and (row != DRUMS or sound in (None, place.sound)):
            return Edit(place.sheet, f"{_place(now, place.step)}: {note_name(now, note)} taken")
    raise UsageError("that note can't go there")


def _texture(behind: Behind, now: InSheet, ask: Ask) -> Edit:
    bars = now.conversion.grid.bars
    bar = number(ask, "bar", len(bars) - 1)
    texture = str(ask.get("texture"))
    found = under_texture(behind, now, bar, texture)
    return Edit(found, f"bar {bars[bar].number} as {texture}")


def number(ask: Ask, name: str, most: int) -> int:
    """Return a number from 0 on that an ask has to give.

    Raises `UsageError` if it doesn't, or it is larger than ``most``.
    """
    value = ask.get(name)
    if type(value) is not int or not 0 <= value <= most:
        raise UsageError(f"{name} has to be a number from 0 to {most}")
    return value


def note_name(now: Conversion, note: int) -> str:
    """Return what a note of the song is called: "E4 of 'strings'"."""
    asked = now.song.notes[note]
    name = percussion_name(asked.pitch) if asked.drum else pitch_name(asked.pitch)
    return f"{name} of '{now.song.parts[asked.part].name}'"


def _row(row: int) -> str:
    return "drums" if row == DRUMS else f"voice {row + 1}"


def _place(now: Conversion, step: int) -> str:
    bar = next(bar for bar in reversed(now.grid.bars) if bar.first_step <= step)
    return f"bar {bar.number}"
