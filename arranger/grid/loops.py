"""Where a piece goes on after its last step.

Marked in files by a text or marker ("loopStart", "loop end" and the like) or by controller 111 where
the loop begins; both are common practice in game music, no source. A bar number from the user goes
before either.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SettingsError

if TYPE_CHECKING:
    from arranger.grid.model import GridBar
    from arranger.song.model import Song

LOOP_CONTROLLER = 111
STARTS = frozenset({"loop", "loopstart", "loopbegin", "startloop", "beginloop", "loopfrom"})
ENDS = frozenset({"loopend", "loopstop", "endloop", "endofloop"})
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

    Raises
    ------
    SettingsError
        If it is no bar of the passage.
    """
    number = int(loop) if re.fullmatch(r"\d{1,9}", loop) else None
    for bar in bars:
        if bar.number == number:
            return bar.first_step
    raise SettingsError(
        f"--loop {loop}: no bar of what is converted",
        remedy=f"give a bar from {bars[0].number} to {bars[-1].number}, auto or none",
    )
