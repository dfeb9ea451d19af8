"""Merging the header of a sheet: title, speed, drum sounds, the loop mark."""

from __future__ import annotations

import re
import shlex
from dataclasses import replace
from typing import TYPE_CHECKING

from arranger.errors import SheetError
from arranger.sheet.form.text import speed_text
from arranger.sheet.merging.pieces import Conflict

if TYPE_CHECKING:
    from arranger.sheet.merging.merged_bars import MergedBars, Sides
    from arranger.sheet.model import Sheet
    from arranger.sheet.record.base import Base


def check_engine(edited: Sheet, base: Base, now: Sheet) -> None:
    """Refuse to go on if a hand chose another engine than the sheet is generated for now."""
    by_hand = edited.generated is not None and not base.has("engine", edited)
    if by_hand and edited.engine != now.engine:
        raise SheetError(
            f"the edited sheet is for the engine {edited.engine!r}, the new one for {now.engine!r}",
            remedy=f"convert with --engine {shlex.quote(edited.engine)} to keep the edit",
        )


def check_passage(edited: Sheet, now: Sheet) -> None:
    """Refuse to go on if only a passage is generated now, and another than the sheet is of.

    What a hand took out elsewhere would be forgotten, and come back with the next whole conversion.
    """
    passage = _passage(now)
    if passage and passage != _passage(edited):
        raise SheetError(
            f"the edited sheet isn't of the bars {passage} alone, so that edits can't be joined to it",
            remedy="leave --bars out, or convert the passage into another folder",
        )


def _passage(sheet: Sheet) -> str:
    found = re.search(r"(?<!\S)--bars (\S+)", sheet.settings)
    return found[1] if found else ""


def merge_header(edited: Sheet, base: Base, now: Sheet) -> tuple[Sheet, list[Conflict]]:
    """Return the header of the merged sheet: what the hand changed in it outdoes the new."""
    conflicts: list[Conflict] = []
    header = now
    if not base.has("title", edited):
        header = replace(header, title=edited.title)
    if not base.has("speed", edited):
        header, conflicts = _with_speed(header, edited, now)
    return header, conflicts


def _with_speed(header: Sheet, edited: Sheet, now: Sheet) -> tuple[Sheet, list[Conflict]]:
    """Return the header as fast as the hand set it, and what the conversion asks otherwise.

    A tempo means the same on any engine and step; a length only on those that it was set for.
    """
    if edited.speed in (None, now.speed):
        return header, []
    mine, other = speed_text(edited), speed_text(now)
    same_steps = (edited.step_beats, edited.engine) == (now.step_beats, now.engine)
    if edited.length is not None and not same_steps:
        what = f"{mine} was set by hand for another step or engine: it is {other} now"
        return header, [Conflict(None, what)]
    header = replace(header, tempo=edited.tempo, length=edited.length)
    if "--tempo" not in shlex.split(now.settings):
        return header, []
    what = f"{mine} was set by hand, though --tempo asks for {other}: the hand's stays"
    return header, [Conflict(None, what)]


def with_sounds(sheet: Sheet, edited: Sheet, base: Base, now: Sheet) -> Sheet:
    """Return the sheet with the drum sounds of both; of two with one name the hand's, if changed.

    Those that no hand changed stay only where something of the sheet is still played with them.
    """
    mine, others = ({sound.name: sound for sound in side.sounds} for side in (edited, now))
    # the hand's first, so that the comments on them stay where they are
    sounds = mine | others | mine
    if not base.known:
        return replace(sheet, sounds=tuple(sounds.values()))
    then = {sound.name: sound for sound in base.sheet.sounds}
    found = []
    for name, sound in sounds.items():
        if name in mine and mine[name] != then.get(name):
            found.append(mine[name])
        elif name in others and (name in mine or others[name] != then.get(name)):
            found.append(others[name])
        elif name in mine and name in sheet.drums:
            found.append(sound)
    return replace(sheet, sounds=tuple(found))


def merge_loop(planned: MergedBars, sides: Sides) -> tuple[int | None, list[Conflict]]:
    """Return the step of the merged sheet to go back to: the hand's, if it moved the mark."""
    mine, then, now = sides.mine.sheet.loop_step, sides.then.sheet.loop_step, sides.now.loop_step
    places = planned.places
    by_hand = {slot.edited: at for at, slot in enumerate(planned.slots)}
    generated = {slot.now: at for at, slot in enumerate(planned.slots)}
    its = None if mine is None else by_hand.get(mine)
    other = None if now is None else generated.get(now)
    if not sides.base.known:
        if mine is not None or other is None:
            return its, []
        bar = next(
            bar for bar, end in zip(planned.bars, planned.starts[1:], strict=True) if other < end
        )
        return (other if bar.known or bar.base is None else None), []
    typed = None if mine is None else places.edited[mine]
    new = None if now is None else places.now[now]
    if typed == then:
        return other, []
    if new in (then, typed):
        return its, []
    what = "the loop mark was set by hand and is generated otherwise now: the hand's stays"
    return its, [Conflict(None, what)]
