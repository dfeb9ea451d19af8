"""The song behind a sheet, and what becomes of it in the sheet as it stands now.

A sheet says which song it was made from, by name and digest, and with which settings. The song is
converted once; each version of the sheet is then told against that conversion (`in_sheet`). Nothing
is merged: the sheet in the file is what is heard. A sheet that names no song is told against itself,
as a song whose notes are its own tones.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.conversion.by_hand import revise, what_was_asked
from arranger.conversion.pipeline import Conversion, convert
from arranger.conversion.weigh_sheet import read_source
from arranger.engine import load_engine
from arranger.errors import SheetError
from arranger.options import read_command_line
from arranger.settings import Settings
from arranger.sheet.merging.merge import Merge, MergedBar
from arranger.sheet.midi import to_midi
from arranger.sheet.record.against import edited_rows
from arranger.sheet.record.base import base_of
from arranger.song import read_song_bytes

if TYPE_CHECKING:
    from fractions import Fraction

    from arranger.engine.model import Engine
    from arranger.reduce.tell.asked import Asked
    from arranger.sheet.model import Sheet
    from arranger.song.model import Song

_SHEET_ITSELF = "sheet.mid"


class _Key(NamedTuple):
    """What of a sheet decides how its song is converted."""

    engine: str
    settings: str
    step_beats: Fraction
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Behind:
    """The song behind a sheet, converted."""

    path: Path
    """The sheet's."""
    source: Path | None
    """The song's; None: the sheet names none."""
    conversion: Conversion
    asked: Asked
    key: _Key

    def fits(self, sheet: Sheet) -> bool:
        """Return whether a version of the sheet can still be told against this."""
        return self.source is not None and self.key == _key(sheet)


class InSheet(NamedTuple):
    """What became of a song in a sheet as it stands."""

    conversion: Conversion
    edited: list[tuple[int, ...]]
    """Of each bar the rows that a hand changed (`arranger.sheet.record.against`)."""


def find_song(path: Path, sheet: Sheet, song: Path | None = None) -> Path | None:
    """Return where the song of a sheet is; None for a sheet that names none.

    ``song``: what somebody named: the song, or a folder to look in; None: it is looked for beside
    the sheet, one folder above and where the program runs.

    Raises `SheetError` if it isn't there.
    """
    if not sheet.source_file:
        return None
    if song is not None and not song.is_dir():
        return song
    name = sheet.source_file.replace("\\", "/").rsplit("/", 1)[-1]
    folders = (path.parent, path.parent.parent, Path()) if song is None else (song,)
    found = next((each / name for each in folders if (each / name).is_file()), None)
    if found is None:
        raise SheetError(
            f"the song {name} that the sheet was made from is not beside it",
            file=path,
            remedy="name it, or its folder, with --song",
        )
    return found


def open_behind(path: Path, sheet: Sheet, source: Path | None) -> Behind:
    """Read and convert the song of a sheet, in the sheet's own step and for its engine.

    Raises `SheetError` if the song is another file than the sheet was made from, or a sheet that
    names none can't be played; `ArrangerError` if song, engine or settings can't be read.
    """
    if source is None:
        song = _of_itself(sheet, load_engine(sheet.engine, beside=path))
    else:
        song = read_source(sheet, path, source, _settings(sheet))
    return behind_song(path, sheet, source, song)


def behind_song(path: Path, sheet: Sheet, source: Path | None, song: Song) -> Behind:
    """Convert a song that was read, as `open_behind` does; see there.

    ``source``: where the song was found; None: the song is the sheet itself.
    ``song``: the song that the sheet was made from.
    """
    engine = load_engine(sheet.engine, beside=path)
    settings = Settings(engine=sheet.engine) if source is None else _settings(sheet)
    found = convert(song, engine, settings)
    if found.sheet.step_beats != sheet.step_beats and source is not None:
        grid = replace(settings.grid, step=sheet.step_beats)
        found = convert(song, engine, replace(settings, grid=grid))
    return Behind(
        path=path, source=source, conversion=found, asked=what_was_asked(found), key=_key(sheet)
    )


def in_sheet(behind: Behind, sheet: Sheet, known: InSheet | None = None) -> InSheet:
    """Return what became of the song in a sheet as it stands.

    ``behind``: the song; it has to fit the sheet (`Behind.fits`).
    ``sheet``: the sheet, without errors.
    ``known``: what became of the song in another version of the sheet: what is the same is taken
    from there.
    """
    if behind.source is None:
        return InSheet(replace(behind.conversion, sheet=sheet), [()] * len(sheet.bars))
    base = base_of(sheet)
    edited = edited_rows(sheet, base)
    numbers = (
        [bar.number for bar in sheet.bars]
        if sheet.generated is None
        else [None if at is None else base.sheet.bars[at].number for at in base.matched]
    )
    places = {bar.number: index for index, bar in enumerate(behind.conversion.grid.bars)}
    bars = tuple(
        MergedBar(rows, None if number is None else places.pop(number, None))
        for rows, number in zip(edited, numbers, strict=True)
    )
    merged = Merge(sheet=sheet, bars=bars, conflicts=())
    before = None if known is None else known.conversion
    return InSheet(revise(behind.conversion, merged, behind.asked, before), edited)


def _settings(sheet: Sheet) -> Settings:
    return replace(read_command_line(sheet.settings), engine=sheet.engine)


def _key(sheet: Sheet) -> _Key:
    return _Key(sheet.engine, sheet.settings, sheet.step_beats, sheet.source_sha256)


def _of_itself(sheet: Sheet, engine: Engine) -> Song:
    if not any(cell >= 0 for cell in (*sheet.voice1, *sheet.voice2)) and not any(sheet.drums):
        raise SheetError("nothing sounds in it yet", remedy="write a tone: the page follows")
    return read_song_bytes(to_midi(sheet, engine), _SHEET_ITSELF)
