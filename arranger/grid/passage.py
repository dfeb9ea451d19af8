"""Which bars of the song become the sheet: those asked for, or those that have sound in them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.errors import LimitError, SettingsError
from arranger.grid.model import GridBar
from arranger.grid.steps.place import half_up

if TYPE_CHECKING:
    from arranger.columns import Ints
    from arranger.grid.timeline import Timeline
    from arranger.settings import GridSettings

NEAR_LINE_BEATS = 1 / 16
"""An onset this little before a bar line belongs to the bar after it."""


class Passage(NamedTuple):
    """A run of bars and where it lies in steps from the first bar line of the song."""

    first: int
    """Index of the first bar in the timeline."""
    first_step: int
    end_step: int
    bars: tuple[GridBar, ...]
    bar_ticks: tuple[int, ...]
    """The tick at which each bar starts, and that at which the last ends."""
    remarks: tuple[str, ...]


def rough_bars(timeline: Timeline, settings: GridSettings) -> tuple[int, int]:
    """Return the first and last bar of the passage, before there are steps to count in.

    Raises `SettingsError` if the settings name bars that the song doesn't have.
    """
    if settings.bars is not None:
        return _asked_bars(timeline, settings.bars)
    lines = timeline.bar_beats
    onset = timeline.onset_beats.min() + NEAR_LINE_BEATS
    first = int(np.searchsorted(lines, onset, side="right")) - 1
    end = max(timeline.end_beats.max(), timeline.onset_beats.max()) - NEAR_LINE_BEATS
    last = int(np.searchsorted(lines, end, side="left")) - 1
    return _in_order(first, last, len(lines) - 2)


def choose_passage(
    timeline: Timeline,
    per_beat: float,
    onset_steps: Ints,
    end_steps: Ints,
    settings: GridSettings,
    loop_end_beat: float | None,
) -> Passage:
    """Return the passage, in steps.

    Raises `SettingsError` if the settings name bars that the song doesn't have; `LimitError` if it
    is longer than the settings allow.
    """
    lines = _bar_lines(timeline, per_beat)
    end_step = int(lines[-1])
    remarks = []
    if settings.bars is not None:
        first, last = _asked_bars(timeline, settings.bars)
    else:
        first = int(np.searchsorted(lines, onset_steps.min(), side="right")) - 1
        # A tone that dies away just over the last bar line takes no further bar.
        end = max(onset_steps.max() + 1, end_steps.max())
        if loop_end_beat is not None:
            loop_end = int(half_up(np.array(loop_end_beat * per_beat)))
            if max(onset_steps.min(), 0) < loop_end < end:
                end = end_step = loop_end
                remarks.append(
                    "the loop's end is marked before the song's; what follows is left out"
                )
        last = int(np.searchsorted(lines, end, side="left")) - 1
        first, last = _in_order(first, last, len(lines) - 2)
        remarks += _trimmed(first)
    end_step = min(end_step, int(lines[last + 1]))
    first_step = int(lines[first])
    if end_step - first_step > settings.max_steps:
        raise too_long(end_step - first_step, settings.max_steps)
    edges = np.append(lines[first : last + 1], end_step) - first_step
    # A bar shorter than half a step has no step of its own.
    kept = [index for index in range(last - first + 1) if edges[index + 1] > edges[index]]
    steps = np.diff(edges).tolist()
    bars = tuple(
        GridBar(label.number, int(edges[index]), steps[index], label.numerator, label.denominator)
        for index in kept
        for label in (timeline.labels[first + index],)
    )
    ticks = (*timeline.bar_ticks[first + np.array(kept)], timeline.bar_ticks[last + 1])
    return Passage(first, first_step, end_step, bars, tuple(map(int, ticks)), tuple(remarks))


def too_long(steps: int, most: int) -> LimitError:
    """Return the error that says so."""
    return LimitError(
        f"the song would take {steps} steps, more than the limit of {most}",
        remedy="convert a passage with --bars, take a longer --step, or raise --max-steps",
    )


def _bar_lines(timeline: Timeline, per_beat: float) -> Ints:
    """Return the step of each bar line; the last is moved on until its bar has a step."""
    lines = half_up((timeline.bar_beats - timeline.bar_beats[0]) * per_beat)
    lines[-1] = max(lines[-1], lines[-2] + 1)
    return lines


def _in_order(first: int, last: int, most: int) -> tuple[int, int]:
    first = min(max(first, 0), most)
    return first, min(max(last, first), most)


def _asked_bars(timeline: Timeline, asked: tuple[int, int]) -> tuple[int, int]:
    # The timeline may reach a little beyond the last note; those are no bars of the song.
    end = max(timeline.end_beats.max(), timeline.onset_beats.max() + NEAR_LINE_BEATS)
    numbers = [
        label.number
        for label, begin in zip(timeline.labels, timeline.bar_beats, strict=False)
        if begin < end
    ]
    first, last = asked
    if first > last:
        raise SettingsError(
            f"bars {first}-{last} run backwards", remedy="give --bars as FIRST-LAST"
        )
    for number in asked:
        if number not in numbers:
            raise SettingsError(
                f"the song has no bar {number}", remedy=f"it has bars {numbers[0]} to {numbers[-1]}"
            )
    return numbers.index(first), numbers.index(last)


def _trimmed(first: int) -> list[str]:
    """Say how many bars before the first note are left out; nothing is known of any after the last."""
    if first == 0:
        return []
    return [f"{first} silent {'bar' if first == 1 else 'bars'} before the first note left out"]
