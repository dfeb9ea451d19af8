"""The way through the program, in memory: a song becomes a grid, a sheet and a ledger.

    Song ──plan_grid──▶ Grid ──reduce──▶ Reduction (sheet rows, ledger, roles)
               Engine ────┴─────────────────┘

One direction, immutable values between the stages; nothing here touches a file or the terminal.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

from arranger.conversion.keys import keys_by_bar
from arranger.conversion.marked import read_marked
from arranger.conversion.measure import measure_of
from arranger.grid import plan_grid
from arranger.options import command_line
from arranger.reduce import check_conservation, reduce, remarks_on_laws
from arranger.sheet import with_digest
from arranger.sheet.form.as_bars import settled
from arranger.sheet.form.header_values import FASTEST_BPM, SLOWEST_BPM
from arranger.sheet.model import Comment, Sheet, SheetBar, SheetSound
from arranger.sheet.played import step_seconds
from arranger.song.words import words_by_bar

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.grid.model import Grid
    from arranger.reduce import Reduction
    from arranger.settings import Settings
    from arranger.song.model import Song

OTHER_SECTION = "other"
"""How what follows a repeated section and is none itself is called in the sheet."""


@dataclass(frozen=True, slots=True, weakref_slot=True, kw_only=True, eq=False)
class Conversion:
    """Everything that one conversion found out."""

    song: Song
    engine: Engine
    settings: Settings
    grid: Grid
    reduction: Reduction
    sheet: Sheet


def convert(song: Song, engine: Engine, settings: Settings) -> Conversion:
    """Turn a song into two voices for an engine.

    A MIDI file that was made from a sheet becomes that sheet again (`arranger.conversion.marked`).

    Raises
    ------
    SongError
        If the song holds no notes.
    SettingsError
        If a setting names a part or a bar that the song doesn't have.
    LimitError
        If the song would take more steps than the settings allow.
    LawError
        If a note went missing on the way, which is a defect of this program. An entry that
        contradicts the rows is only told, among the remarks.
    """
    marked = read_marked(song, engine, settings)
    if marked is not None:
        title, tempo, length, sounds, bars, grid, reduction, _ = marked
    else:
        title, tempo, length, sounds = song.title, None, None, ()
        grid = plan_grid(song, engine, settings.grid)
        bars = _bars(grid)
        reduction = reduce(song, engine, grid, settings.reduce, measure_of(engine, grid))
    check_conservation(reduction.ledger, len(song.notes))
    faults = remarks_on_laws(song, engine, reduction)
    if faults:
        reduction = replace(reduction, remarks=(*reduction.remarks, *faults))
    if tempo is None and length is None:
        tempo = written_tempo(grid, engine)
    sheet = _sheet(song, settings, grid, reduction, title, sounds, bars)
    sheet = settled(replace(sheet, tempo=tempo, length=length))
    transposed = reduction.ledger.transpose
    sheet = with_digest(sheet, transposed, keys_by_bar(song, grid, transposed))
    return Conversion(
        song=song, engine=engine, settings=settings, grid=grid, reduction=reduction, sheet=sheet
    )


def _sheet(
    song: Song,
    settings: Settings,
    grid: Grid,
    reduction: Reduction,
    title: str,
    sounds: tuple[SheetSound, ...],
    bars: tuple[SheetBar, ...],
) -> Sheet:
    return Sheet(
        title=title,
        engine=settings.engine,
        step_beats=grid.step_beats,
        bars=bars,
        voice1=reduction.voice1,
        voice2=reduction.voice2,
        drums=reduction.drums,
        sounds=sounds,
        loop_step=grid.loop_step,
        source_file=song.file,
        source_sha256=song.sha256,
        settings=command_line(settings),
        comments=_words(song, grid),
    )


def _bars(grid: Grid) -> tuple[SheetBar, ...]:
    """Return the sheet's bars, with a mark where a repeated section begins, or what is none."""
    marks = {section.first_bar + section.bars: OTHER_SECTION for section in grid.sections}
    marks |= {section.first_bar: section.name for section in grid.sections}
    return tuple(
        SheetBar(bar.number, bar.steps, bar.numerator, bar.denominator, None, marks.get(index, ""))
        for index, bar in enumerate(grid.bars)
    )


def written_tempo(grid: Grid, engine: Engine) -> float:
    """Return the tempo that a sheet says: what was asked for, if it leads to the grid's step length.

    Else it is what is played. It has two digits after the point, or as many more as it takes.
    """
    for bpm, digits in product((grid.asked_bpm, grid.played_bpm), (2, 4, 8)):
        tempo = round(bpm, digits)
        if SLOWEST_BPM <= tempo <= FASTEST_BPM:
            seconds = step_seconds(grid.step_beats, tempo)
            if engine.nearest_step_length(seconds) == grid.step_length:
                return tempo
    return grid.played_bpm


def _words(song: Song, grid: Grid) -> tuple[Comment, ...]:
    """Return the words of a song that has any, as comments on its bars."""
    lines = [0, *grid.bar_ticks]
    return tuple(
        Comment(bar, f"words: {words}")
        for bar, words in ((index - 1, text) for index, text in words_by_bar(song, lines).items())
        if 0 <= bar < len(grid.bars)  # what is sung outside the passage is left out
    )
