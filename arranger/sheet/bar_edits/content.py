"""Edits of what bars play: bars stay where they are."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from arranger.errors import SettingsError, UsageError, did_you_mean
from arranger.pitch import pitch_name
from arranger.rows import HOLD, REST
from arranger.sheet.bar_edits.edit_told import BarEdit, told_content
from arranger.sheet.bar_edits.taken_apart import MovableBar, changed, put_together, take_apart
from arranger.sheet.bar_edits.which_bars import ALL_ROWS, DRUMS, VOICES, numbered, rows_in_words
from arranger.sheet.bar_edits.with_record import with_record

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

    from arranger.rows import Row
    from arranger.sheet.model import Sheet

_MOST_PITCH = 127
_OCTAVE = 12


def transpose_bars(
    sheet: Sheet,
    bars: Sequence[int],
    semitones: int,
    rows: Sequence[int] = VOICES,
    fold: Callable[[int], int | None] | None = None,
) -> BarEdit:
    """Return the sheet with the tones of some bars moved by semitones.

    ``sheet``, ``bars``: the sheet, and which bars (indices, rising).
    ``semitones``: by how many; below 0 down.
    ``rows``: which of the voices.
    ``fold``: returns the pitch that stands in for one, an octave of it that can be played, or None
    where none can; None: nothing is folded.

    Raises `UsageError` if ``rows`` has the drums; `SettingsError` if a pitch would be none from C-1
    to G9.
    """
    if DRUMS in rows:
        raise UsageError("drums can't be transposed", remedy="give --row voice1 or --row voice2")
    folded: set[int] = set()
    staying: set[int] = set()

    def moved(pitch: int) -> int:
        asked = pitch + semitones
        found = asked if fold is None else fold(asked)
        found = asked if found is None else found
        if not 0 <= found <= _MOST_PITCH:
            raise SettingsError(
                f"{pitch_name(pitch)} can't be moved by {semitones} semitones",
                remedy="stay between C-1 and G9",
            )
        if found != asked:
            (staying if found == pitch else folded).add(pitch)
        return found

    tones: list[int] = []

    def change(block: MovableBar) -> MovableBar:
        tones.extend(cell for voice in rows for cell in block.rows[:2][voice] if cell >= 0)
        return _with_pitches(block, rows, moved)

    def told() -> str:
        way = "up" if semitones > 0 else "down"
        shown = numbered(sheet, bars) if tuple(rows) == VOICES else rows_in_words(sheet, bars, rows)
        what = f"{shown} {way} by {_interval(semitones)}, {_count(len(tones))}"
        for count, why in (
            (sum(tone in folded for tone in tones), "folded by octaves into the engine's table"),
            (sum(tone in staying for tone in tones), "left, as the engine's table ends there"),
        ):
            what += f", {count} {why}" if count else ""
        return what

    return _edited(sheet, bars, change, told)


def swap_voices(sheet: Sheet, bars: Sequence[int]) -> BarEdit:
    """Return the sheet with voice 1 and voice 2 exchanged in some bars."""

    def change(block: MovableBar) -> MovableBar:
        one, two, drums = block.rows
        return replace(block, rows=(two, one, drums), held=(block.held[1], block.held[0]))

    return _edited(sheet, bars, change, lambda: f"voices exchanged in {numbered(sheet, bars)}")


def clear_bars(
    sheet: Sheet,
    bars: Sequence[int],
    rows: Sequence[int] = ALL_ROWS,
    gaps: Collection[str] = frozenset(),
) -> BarEdit:
    """Return the sheet with silence in some rows of some bars; a tone that is held into them ends.

    ``sheet``, ``bars``, ``rows``: the sheet, which bars (indices, rising) and which of their rows.
    ``gaps``: sounds of the drum row that only part repeated tones: they stay as long as a voice
    does.
    """
    kept = frozenset() if set(VOICES) <= set(rows) else frozenset(gaps)

    def change(block: MovableBar) -> MovableBar:
        steps = block.head.steps
        drums = tuple(hit if hit in kept else None for hit in block.rows[2])
        silent = MovableBar(block.key, block.head, ((REST,) * steps, (REST,) * steps, drums))
        return block.with_rows_of(silent, rows)

    return _edited(sheet, bars, change, lambda: f"{rows_in_words(sheet, bars, rows)} cleared")


def fill_drums(
    sheet: Sheet,
    bars: Sequence[int],
    pattern: Sequence[str | None],
    known: Collection[str] | None = None,
    gaps: Collection[str] = frozenset(),
) -> BarEdit:
    """Return the sheet with a drum row in some bars: a pattern that begins anew with each bar.

    ``sheet``, ``bars``: the sheet, and which bars (indices, rising).
    ``pattern``: a drum sound or None a step, repeated until the bar is full, and cut at its end.
    ``known``: the drum sounds that can be played; None: any.
    ``gaps``: those that only part repeated tones: they stay where the pattern is silent.

    Raises `UsageError` if the pattern is empty; `SettingsError` if it has a drum sound that isn't
    known.
    """
    if not pattern:
        raise UsageError("there is no drum in the row", remedy='write like "kick . hat ."')
    strange = [hit for hit in pattern if hit is not None and known is not None and hit not in known]
    if strange and known is not None:
        remedy = did_you_mean(strange[0], known, f"choose from {', '.join(known)}")
        raise SettingsError(f"{sheet.engine} has no drum sound {strange[0]!r}", remedy=remedy)

    def change(block: MovableBar) -> MovableBar:
        row = tuple(
            pattern[step % len(pattern)] or (hit if hit in gaps else None)
            for step, hit in enumerate(block.rows[2])
        )
        return replace(block, rows=(*block.rows[:2], row))

    return _edited(sheet, bars, change, lambda: f"drums of {numbered(sheet, bars)} filled")


def _edited(
    sheet: Sheet,
    bars: Sequence[int],
    change: Callable[[MovableBar], MovableBar],
    told: Callable[[], str],
) -> BarEdit:
    """Return a change to some bars as an edit; what was done is told once it is."""
    found, followers = changed(take_apart(sheet), bars, change)
    joined = put_together(sheet, found)
    noted = with_record(sheet, joined.sheet, range(len(sheet.bars)))
    return BarEdit(noted, told_content(told(), sheet, joined, followers, bars))


def _with_pitches(
    block: MovableBar, rows: Sequence[int], moved: Callable[[int], int]
) -> MovableBar:
    """Return a block with other pitches in some voices, also of the tones that are held into it."""
    voices: list[Row] = list(block.rows[:2])
    held = list(block.held)
    for row in rows:
        voices[row] = tuple(moved(cell) if cell >= 0 else cell for cell in voices[row])
        before = held[row]
        if before is not None and voices[row][0] == HOLD:
            held[row] = moved(before)
    drums = block.rows[2]
    return replace(block, rows=(voices[0], voices[1], drums), held=(held[0], held[1]))


def _interval(semitones: int) -> str:
    if abs(semitones) == _OCTAVE:
        return "an octave"
    return "1 semitone" if abs(semitones) == 1 else f"{abs(semitones)} semitones"


def _count(tones: int) -> str:
    return "1 tone" if tones == 1 else f"{tones} tones"
