"""Where a piece goes on after its last step.

Marked in files by a text or marker ("loopStart", "loop end" and the like) or by controller 111 where
the loop begins; both are common practice in game music, no source. A bar number from the user goes
before either. Without a mark a piece goes round if its end leads back: its last bars come once before,
so that the music itself says what follows them.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SettingsError
from arranger.grid.sections import FEWEST_BARS

if TYPE_CHECKING:
    from arranger.columns import Bools, Ints
    from arranger.grid.model import GridBar
    from arranger.song.model import Song

LOOP_CONTROLLER = 111
STARTS = frozenset({"loop", "loopstart", "loopbegin", "startloop", "beginloop", "loopfrom"})
ENDS = frozenset({"loopend", "loopstop", "endloop", "endofloop"})
LEAST_ROUND = 0.5
"""Who goes round in the last few bars only doesn't play the piece again."""
KINDS = frozenset({"marker", "text", "cue_marker"})


class LoopMarks(NamedTuple):
    """Ticks at which a file says that its loop begins and ends."""

    start: int | None
    end: int | None
    what: str
    """What says so, for people."""


def loop_marks(song: Song) -> LoopMarks:
    """Return the loop that a file marks; texts go before the controller."""
    start = end = None
    what = ""
    for mark in song.marks:
        word = re.sub(r"[^a-z]", "", mark.text.lower())
        if mark.kind not in KINDS:
            continue
        if word in STARTS and start is None:
            start, what = mark.tick, f"the {mark.kind.replace('_', ' ')} “{mark.text}”"
        elif word in ENDS:
            end = mark.tick
    if start is None:
        for control in song.controls:
            if control.number == LOOP_CONTROLLER:
                start, what = control.tick, f"controller {LOOP_CONTROLLER}"
                break
    if end is not None and end <= (start or 0):
        end = None
    return LoopMarks(start, end, what)


def asked_loop(loop: str, bars: tuple[GridBar, ...]) -> int:
    """Return the step of the bar that the user names.

    Raises `SettingsError` if it is no bar of the passage.
    """
    number = int(loop) if re.fullmatch(r"\d{1,9}", loop) else None
    for bar in bars:
        if bar.number == number:
            return bar.first_step
    raise SettingsError(
        f"--loop {loop}: no bar of what is converted",
        remedy=f"give a bar from {bars[0].number} to {bars[-1].number}, auto or none",
    )


def leads_back(
    alike: Bools, bars: tuple[GridBar, ...], onset_steps: Ints, end_steps: Ints
) -> int | None:
    """Return the index of the bar that the end of a piece leads back to, or None.

    The last `FEWEST_BARS` or more come before, in the same order; what follows them there follows the end.
    If that comes still earlier too, it goes back to there, so that as much as can be is heard again; at least
    `LEAST_ROUND` of the piece must be. No note may be cut: at the end, or held into the bar that it goes back to.

    ``alike``: which bars are alike (`arranger.grid.sections.alike_bars`).
    ``bars``: all bars of the piece; the last must be whole.
    ``onset_steps``, ``end_steps``: shape (notes,): where notes stand, even beyond the last bar; -1
    for those that are left out.
    """
    count = len(bars)
    if len(alike) != count or count <= FEWEST_BARS or not _is_whole(bars):
        return None
    runs = [_run_before(alike, bar) for bar in range(count)]
    after = max(range(FEWEST_BARS, count), key=lambda bar: runs[bar])
    end = bars[-1].first_step + bars[-1].steps
    if runs[after] < FEWEST_BARS or (end_steps > end).any():
        return None
    earlier = (bar for bar in range(after) if _runs_alike(alike, bar, after))
    for bar in (*earlier, after):
        step = bars[bar].first_step
        if step > (1.0 - LEAST_ROUND) * end:
            continue
        if not ((onset_steps >= 0) & (onset_steps < step) & (end_steps > step)).any():
            return bar
    return None


def _is_whole(bars: tuple[GridBar, ...]) -> bool:
    """Return whether the last bar is as long as the others of its metre."""
    same = [bar.steps for bar in bars if bar[3:5] == bars[-1][3:5]]
    return bars[-1].steps == max(same)


def _run_before(alike: Bools, bar: int) -> int:
    """Return how many bars before one are as the last ones of the piece."""
    last = len(alike) - 1
    run = 0
    while run < bar and alike[bar - 1 - run, last - run]:
        run += 1
    return run


def _runs_alike(alike: Bools, bar: int, other: int) -> bool:
    """Return whether a section's worth of bars from one on is as that from another, or all to the end."""
    size = min(FEWEST_BARS, len(alike) - other)
    return all(alike[bar + each, other + each] for each in range(size))
