"""Merging one row of two sheets, step by step, over what both grew from.

Steps of a voice are compared by what sounds: the pitch, and where its tone starts. So a tone is one
thing wherever bars begin, and the steps of a tone that a hand made are the hand's to its end. A single
tone or silence that a hand left, or typed as it was, between two of its own tones is part of its phrase.
In a bar where a hand has put a tone, those that it left stay in their octaves beside it, and in their
key where it stays as typed.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from arranger.rows import HOLD, REST

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from arranger.rows import Row


class Slot(NamedTuple):
    """One step of the merged sheet: which step it is in each of the three; None: in it there is none."""

    edited: int | None
    base: int | None
    """None also where the base isn't known."""
    now: int | None
    renewed: bool = False
    """Where the base isn't known: whether what is generated now is another."""
    copied: int | None = None
    """The slot whose cell stands here too, since the bar is as another one."""
    bar: int = 0
    """The bar of the merged sheet that it is in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Where steps stand in the base; negative, each another, for those that it doesn't have."""

    edited: Sequence[int]
    now: Sequence[int]


class ToneShift(NamedTuple):
    """How tones follow what is generated."""

    pitch: Callable[[int], int]
    """Returns what becomes of a pitch of the hand's."""
    shift: int = 0
    """By how many semitones what is generated was moved since the base."""
    folds: bool = False
    """Whether octaves may have changed on the way."""
    phrases: bool = True
    """Whether a tone or silence between two by hand is theirs; not where the others are by hand too."""
    left: int = 0
    """By how many semitones what is generated was moved while tones by hand are left as typed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MergedRow:
    """A row of the merged sheet."""

    cells: tuple[int, ...]
    by_hand: list[bool]
    """For each slot whether it is otherwise than generated now."""
    clashing: list[bool]
    """For each slot whether it is the hand's, and what is generated there has changed too."""
    base: tuple[int, ...]
    """What is generated now, as the base of the next merge: tones that had to be started anew in the
    merged sheet start there too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MergedDrums:
    """A drum row of the merged sheet; see `MergedRow`."""

    cells: tuple[str | None, ...]
    by_hand: list[bool]
    clashing: list[bool]


class _Heard(NamedTuple):
    """What sounds on each step of a voice."""

    sounds: list[tuple[int, int]]
    """The pitch, and the place where its tone starts; where nothing sounds the cell, and 0."""
    starts: list[int]
    """The step on which the tone starts."""

    def begins(self, step: int) -> bool:
        return self.sounds[step][0] >= 0 and self.starts[step] == step


def merge_voice(
    edited: Row, base: Row, now: Row, slots: Sequence[Slot], places: Places, move: ToneShift
) -> MergedRow:
    """Merge a voice; all three rows are in the same steps.

    What the hand left as it was is as generated now. A tone that the hand lengthened is lengthened
    whichever tone it is now; where none is left to be lengthened, it is the hand's from its start.
    """
    mine, then, new = (
        _heard(edited, places.edited),
        _heard(base, range(len(base))),
        _heard(now, places.now),
    )
    slot_of = {slot.edited: at for at, slot in enumerate(slots) if slot.edited is not None}
    changed = [_is_changed(slot, mine, then) for slot in slots]
    if move.phrases:
        _take_phrases_along(changed, slots, mine)
    _keep_beside(changed, slots, mine, new, move)
    hand = [
        by_hand and _is_otherwise(slot, mine, new, move)
        for slot, by_hand in zip(slots, changed, strict=True)
    ]
    _take_starts_along(hand, slots, mine, new, slot_of)
    cells, ids = _performed(hand, slots, mine, new, slot_of, move)
    kept_base = list(now)
    clashing = []
    for at, slot in enumerate(slots):
        n = slot.now
        if n is not None:
            if hand[at] and ids[at] is not None and ids[at] == (False, new.starts[n]):
                hand[at] = new.sounds[n][0] < 0
            if not hand[at]:
                kept_base[n] = cells[at]
        clashing.append(hand[at] and _renewed(slot, then, new, move))
    return MergedRow(cells=tuple(cells), by_hand=hand, clashing=clashing, base=tuple(kept_base))


def _heard(row: Row, places: Sequence[int]) -> _Heard:
    sounds: list[tuple[int, int]] = []
    starts: list[int] = []
    sound, start = (REST, 0), 0
    for step, cell in enumerate(row):
        if cell >= 0:
            sound, start = (cell, places[step]), step
        elif cell == REST or sound[0] < 0:
            sound = (cell, 0)
        sounds.append(sound)
        starts.append(start)
    return _Heard(sounds, starts)


def _is_changed(slot: Slot, mine: _Heard, then: _Heard) -> bool:
    """Return whether a step isn't as it was generated then, as far as that is known."""
    if slot.edited is None:
        return False
    if slot.now is None or slot.copied is not None or slot.base is None:
        return True
    return mine.sounds[slot.edited] != then.sounds[slot.base]


def _take_phrases_along(changed: list[bool], slots: Sequence[Slot], mine: _Heard) -> None:
    """Let a tone or silence be the hand's where the tones before and after it are, within a bar.

    Over a bar line it isn't: bars that are as another one are merged alike, whatever is around them.
    """
    kept = [at for at, by_hand in enumerate(changed) if by_hand]
    for before, after in pairwise(kept):
        phrase = slots[before : after + 1]
        steps = [slot.edited for slot in phrase if slot.edited is not None]
        if len(phrase) < 3 or len(steps) < len(phrase) or phrase[0].bar != phrase[-1].bar:
            continue
        first, *between, last = [mine.sounds[step] for step in steps]
        alone = set(between) == {between[0]} and between[0] not in (first, last)
        if alone and first[0] >= 0 and last[0] >= 0:
            changed[before + 1 : after] = [True] * len(between)


def _keep_beside(
    changed: list[bool], slots: Sequence[Slot], mine: _Heard, new: _Heard, move: ToneShift
) -> None:
    """Let tones of a bar with some by hand be the hand's too, where only their octave or key is new.

    Those by hand aren't moved by octaves with what is generated around them, nor at all when they
    stay as typed, and some of a phrase may have been typed as they were.
    """
    if not (move.folds or move.left):
        return
    starting = [slot.edited is not None and mine.begins(slot.edited) for slot in slots]
    bars = {slots[at].bar for at, starts in enumerate(starting) if starts and changed[at]}
    tones: dict[int, list[int]] = {}
    for at, slot in enumerate(slots):
        if slot.edited is not None and mine.sounds[slot.edited][0] >= 0:
            tones.setdefault(mine.starts[slot.edited], []).append(at)
    for start, steps in tones.items():
        if slots[steps[0]].bar not in bars or any(changed[at] for at in steps):
            continue
        pitch, place = mine.sounds[start]
        moved = move.pitch(pitch) + move.left
        heard = [new.sounds[slots[at].now or 0] for at in steps]
        if all(p >= 0 and (p - moved) % 12 == 0 and at == place for p, at in heard):
            for at in steps:
                changed[at] = True


def _is_otherwise(slot: Slot, mine: _Heard, new: _Heard, move: ToneShift) -> bool:
    """Return whether what the hand has on a step, in the key of now, isn't generated now."""
    if slot.now is None or slot.edited is None or slot.copied is not None:
        return True
    sound = mine.sounds[slot.edited]
    moved = (move.pitch(sound[0]), sound[1]) if sound[0] >= 0 else sound
    return moved != new.sounds[slot.now]


def _take_starts_along(
    hand: list[bool], slots: Sequence[Slot], mine: _Heard, new: _Heard, slot_of: Mapping[int, int]
) -> None:
    """Let a tone be the hand's from its start, where what the hand lengthened is silent now."""
    for at, slot in enumerate(slots):
        if not hand[at] or slot.edited is None or mine.sounds[slot.edited][0] < 0:
            continue
        start = slot_of.get(mine.starts[slot.edited], at)
        if start < at and not hand[start] and not hand[at - 1]:
            before = slots[at - 1].now
            if before is None or new.sounds[before][0] < 0:
                for between in range(start, at):
                    hand[between] = hand[between] or slots[between].edited is not None


_Tone = tuple[bool, int]
"""Whether it is the hand's, and the step on which it starts there."""


def _performed(
    hand: Sequence[bool],
    slots: Sequence[Slot],
    mine: _Heard,
    new: _Heard,
    slot_of: Mapping[int, int],
    move: ToneShift,
) -> tuple[list[int], list[_Tone | None]]:
    """Return the cells of the merged row, and which tone each belongs to."""
    cells: list[int] = []
    ids: list[_Tone | None] = []
    last: _Tone | None = None
    alike: tuple[_Tone, ...] = ()
    for at, (slot, by_hand) in enumerate(zip(slots, hand, strict=True)):
        if by_hand and slot.copied is not None:
            cell = cells[slot.copied]
            if cell != HOLD:
                alike = _starting(slot, mine, new)
                last = None if cell == REST else (True, -1 - at)
            cells.append(cell)
            ids.append(last)
            continue
        side, step = (mine, slot.edited or 0) if by_hand else (new, slot.now or 0)
        value = side.sounds[step][0]
        if value < 0:
            cells.append(HOLD if value == HOLD and last is None else REST)
            last = None
        else:
            tone: _Tone = (by_hand, side.starts[step])
            start = slot_of.get(side.starts[step], at) if by_hand else at
            goes_on = tone in alike or (start < at and not hand[start])
            if last is not None and goes_on:
                tone = last
            pitch = move.pitch(value) if by_hand else value
            cells.append(HOLD if tone == last else pitch)
            if tone != last:
                alike = ()
            last = tone
        ids.append(last)
    return cells, ids


def _starting(slot: Slot, mine: _Heard, new: _Heard) -> tuple[_Tone, ...]:
    """Return the tones that start on a step, whose place one of another bar takes."""
    found: list[_Tone] = []
    if slot.edited is not None and mine.begins(slot.edited):
        found.append((True, slot.edited))
    if slot.now is not None and new.begins(slot.now):
        found.append((False, slot.now))
    return tuple(found)


def _renewed(slot: Slot, then: _Heard, new: _Heard, move: ToneShift) -> bool:
    """Return whether something else is generated on a step than before, but for the key."""
    if slot.now is None:
        return False
    if slot.base is None:
        return slot.renewed
    was, now = then.sounds[slot.base][0], new.sounds[slot.now][0]
    if was < 0 or now < 0:
        return max(was, HOLD) != max(now, HOLD)
    apart = now - was - move.shift
    if then.begins(slot.base) != new.begins(slot.now):
        return True
    return apart % 12 != 0 if move.folds else apart != 0


def merge_drums(
    edited: Sequence[str | None],
    base: Sequence[str | None],
    now: Sequence[str | None],
    slots: Sequence[Slot],
    playable: Callable[[str], str | None],
) -> MergedDrums:
    """Merge a drum row; ``playable`` returns what becomes of a sound of the hand's."""
    cells: list[str | None] = []
    hand: list[bool] = []
    clashing: list[bool] = []
    for slot in slots:
        new = None if slot.now is None else now[slot.now]
        if slot.edited is None:
            cells.append(new)
            hand.append(False)
            clashing.append(False)
            continue
        typed = edited[slot.edited] if slot.copied is None else cells[slot.copied]
        untouched = slot.base is not None and edited[slot.edited] == base[slot.base]
        if untouched and slot.now is not None and slot.copied is None:
            cells.append(new)
            hand.append(False)
            clashing.append(False)
            continue
        cells.append(typed and playable(typed))
        hand.append(slot.now is None or cells[-1] != new)
        was = None if slot.base is None else base[slot.base]
        renewed = slot.renewed if slot.base is None else was != new
        clashing.append(hand[-1] and slot.now is not None and renewed)
    return MergedDrums(cells=tuple(cells), by_hand=hand, clashing=clashing)
