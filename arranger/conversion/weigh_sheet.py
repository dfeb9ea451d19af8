"""What was weighed in a bar of a sheet: the conversion that made it, done again."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from arranger.conversion.measure import measure_of
from arranger.engine import load_engine
from arranger.errors import SettingsError, SheetError
from arranger.grid import plan_grid
from arranger.options import read_command_line
from arranger.reduce.tell.weighing import weigh_bar
from arranger.sheet import read_sheet
from arranger.sheet.form.as_bars import roots
from arranger.sheet.record.against import song_numbers
from arranger.song import read_song

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.reduce.tell.weighing import BarWeighing
    from arranger.settings import Settings
    from arranger.sheet import Sheet
    from arranger.song.model import Song


def weigh_sheet_bar(path: Path, bar: int, *, song: Path | None, most: int) -> BarWeighing:
    """Return what was weighed in a bar of the conversion that made a sheet.

    ``bar``: as numbered there; where a hand put in or took out bars, the song's bar may have
    another number.
    ``song``: the song; None: the sheet's source, beside the sheet.
    ``most``: how many other choices to find.

    Raises `SheetError` if the sheet can't be read, doesn't say how it was made, or the song is
    another one; `SettingsError` if there is no such bar, a hand put it in, or the settings in the
    header don't exist; `SongError` if the song can't be read.
    """
    sheet = read_sheet(path)
    if not sheet.source_file:
        raise SheetError(
            "the sheet names no song that it was made from, so nothing was weighed",
            file=path,
            remedy=f"arranger report {path} tells what is in it",
        )
    source = path.parent / sheet.source_file.replace("\\", "/").rsplit("/", 1)[-1]
    source = source if song is None else song
    if not source.exists():
        raise SheetError(
            f"the song {sheet.source_file} is not beside the sheet",
            file=path,
            remedy="name it with --song",
        )
    try:
        settings = read_command_line(sheet.settings)
    except SettingsError as error:
        raise error.in_file(path) from None
    found = read_source(sheet, path, source, settings)
    try:
        number = _song_number(sheet, bar)
    except SettingsError as error:
        raise error.in_file(path) from None
    engine = load_engine(settings.engine, beside=path)
    grid = plan_grid(found, engine, settings.grid)
    weighed = weigh_bar(
        found, engine, grid, settings.reduce, number, most=most, measure=measure_of(engine, grid)
    )
    return replace(weighed, bar=bar, song_bar=number)


def read_source(sheet: Sheet, path: Path, source: Path, settings: Settings) -> Song:
    """Return the song that a sheet was made from.

    Raises `ArrangerError` if it can't be read, or is another file than then.
    """
    found = read_song(source, settings.read)
    if sheet.source_sha256 and found.sha256 != sheet.source_sha256:
        raise SheetError(
            f"{source} is not the file that the sheet was made from",
            file=path,
            remedy="name the right one with --song, or convert again",
        )
    return found


def _song_number(sheet: Sheet, bar: int) -> int:
    """Return the song's number of a sheet's bar."""
    numbers = [each.number for each in sheet.bars]
    if bar not in numbers:
        raise SettingsError(
            f"there is no bar {bar}", remedy=f"the sheet has bars {min(numbers)} to {max(numbers)}"
        )
    index = numbers.index(bar)
    number = song_numbers(sheet)[index]
    if number is None:
        source = roots(sheet.bars)[index]
        raise SettingsError(
            f"bar {bar} was put in by hand, so nothing was weighed there",
            remedy=f"it is as bar {numbers[source]}: ask for that"
            if source != index
            else "ask for a bar that the song has",
        )
    return number
