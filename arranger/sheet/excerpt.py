"""Parts of a sheet to listen to: some bars, or the piece going round."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from arranger.errors import LimitError, SettingsError
from arranger.rows import HOLD, REST, tones
from arranger.sheet.form.as_bars import written_out
from arranger.sheet.model import MAX_STEPS

if TYPE_CHECKING:
    from arranger.rows import Row
    from arranger.sheet.model import Sheet


def cut_bars(sheet: Sheet, first: int, last: int) -> Sheet:
    """Return the bars from one number to another, both included.

    A tone that is held into the passage starts with it. The passage has no loop.

    Raises `SettingsError` if the sheet has none of these bars.
    """
    chosen = [index for index, bar in enumerate(sheet.bars) if first <= bar.number <= last]
    if not chosen:
        numbers = [bar.number for bar in sheet.bars]
        raise SettingsError(
            f"the sheet has no bars {first} to {last}",
            remedy=f"it has bars {min(numbers)} to {max(numbers)}",
        )
    return cut(sheet, chosen[0], chosen[-1] + 1)


def cut(sheet: Sheet, begin: int, end: int) -> Sheet:
    """Return the bars from one index to before another; see `cut_bars`."""
    start = sum(bar.steps for bar in sheet.bars[:begin])
    stop = start + sum(bar.steps for bar in sheet.bars[begin:end])
    return replace(
        sheet,
        bars=written_out(sheet.bars[begin:end]),
        voice1=_from(sheet.voice1, start, stop),
        voice2=_from(sheet.voice2, start, stop),
        drums=sheet.drums[start:stop],
        loop_step=None,
        comments=(),
    )


def first_bars(sheet: Sheet, count: int) -> Sheet:
    """Return the first so many bars. A loop that goes back to a later one is left out."""
    steps = sum(bar.steps for bar in sheet.bars[:count])
    loop = sheet.loop_step
    return replace(
        sheet,
        bars=sheet.bars[:count],
        voice1=sheet.voice1[:steps],
        voice2=sheet.voice2[:steps],
        drums=sheet.drums[:steps],
        loop_step=None if loop is None or loop >= steps else loop,
        comments=(),
    )


def go_round(sheet: Sheet, times: int) -> Sheet:
    """Return the sheet as it sounds when its loop is played so many times in all.

    After the end the piece goes on at its loop step, or at its beginning if it has none.

    Raises `LimitError` if that has more than `MAX_STEPS` steps.
    """
    loop = sheet.loop_step or 0
    more = times - 1
    if sheet.steps + more * (sheet.steps - loop) > MAX_STEPS:
        raise LimitError(
            f"{times} rounds have more than {MAX_STEPS:,} steps", remedy="choose fewer with --loop"
        )
    bars = [
        bar._replace(steps=min(bar.steps, end - loop), as_bar=None)
        for bar, end in zip(sheet.bars, sheet.bar_starts[1:], strict=True)
        if end > loop
    ]
    return replace(
        sheet,
        bars=(*sheet.bars, *(bars * more)),
        voice1=sheet.voice1 + _from(sheet.voice1, loop, sheet.steps) * more,
        voice2=sheet.voice2 + _from(sheet.voice2, loop, sheet.steps) * more,
        drums=sheet.drums + sheet.drums[loop:] * more,
        comments=(),
    )


def _from(row: Row, start: int, stop: int) -> Row:
    """Return a stretch of a voice; a tone that is held into it starts there."""
    if start == stop or row[start] != HOLD:
        return row[start:stop]
    held = tones(row[: start + 1])[-1]
    return (REST if held is None else held, *row[start + 1 : stop])
