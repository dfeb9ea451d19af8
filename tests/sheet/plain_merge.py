"""A second reading of how a voice is merged: tones painted over a row, segment by segment.

Written from the table at the top of `arranger.sheet.merging.merge` and for rows of one bar only; slow, and
without any of the program's own means.
"""

from __future__ import annotations

from arranger.rows import HOLD, REST

Sound = tuple[int, int] | int
"""A tone by its pitch and first step; a silent cell by itself."""


def sounds(row: tuple[int, ...]) -> list[Sound]:
    found: list[Sound] = []
    for step, cell in enumerate(row):
        before = found[-1] if found else REST
        if cell >= 0:
            found.append((cell, step))
        elif cell == HOLD and not isinstance(before, int):
            found.append(before)
        else:
            found.append(cell)
    return found


def merged(
    edited: tuple[int, ...], base: tuple[int, ...], now: tuple[int, ...], moved: int
) -> tuple[tuple[int, ...], list[int]]:
    """Return the merged row, and the steps on which something is the hand's and was renewed too."""
    mine, then, new = sounds(edited), sounds(base), sounds(now)
    high = [sound if isinstance(sound, int) else (sound[0] + moved, sound[1]) for sound in mine]
    typed = {step for step in range(len(edited)) if mine[step] != then[step]}
    typed |= _phrases(mine, typed)
    hands = [step for step in sorted(typed) if high[step] != new[step]]
    canvas: list[tuple[str, Sound]] = [("now", sound) for sound in new]
    painted: set[int] = set()
    for step in hands:
        sound = high[step]
        if isinstance(sound, int) or sound[1] in hands:
            canvas[step] = ("hand", sound)
            painted.add(step)
            continue
        before = canvas[step - 1]
        if isinstance(before[1], int):  # nothing is left that could be lengthened
            for at in range(sound[1], step + 1):
                canvas[at] = ("hand", sound)
                painted.add(at)
        else:
            canvas[step] = before
            painted.add(step)
    cells: list[int] = []
    for step, (_, sound) in enumerate(canvas):
        if isinstance(sound, int):
            silent = step == 0 or isinstance(canvas[step - 1][1], int)
            cells.append(sound if silent else REST)
        else:
            cells.append(HOLD if step and canvas[step] == canvas[step - 1] else sound[0])
    clashes = []
    for step in sorted(painted):
        same = canvas[step] == ("now", new[step])
        if not same and _kind(then[step], step, moved) != _kind(new[step], step, 0):
            clashes.append(step)
    return tuple(cells), clashes


def _phrases(mine: list[Sound], typed: set[int]) -> set[int]:
    """Return the steps of each single tone or silence with a tone typed right before and after it."""
    found: set[int] = set()
    for first in range(1, len(mine)):
        if mine[first] == mine[first - 1] and first - 1 not in typed:
            continue
        steps = [first]
        while steps[-1] + 1 < len(mine) and mine[steps[-1] + 1] == mine[first]:
            steps.append(steps[-1] + 1)
        around = {first - 1, steps[-1] + 1}
        tones = all(at < len(mine) and not isinstance(mine[at], int) for at in around)
        if tones and around <= typed and mine[first - 1] != mine[first] and not typed & set(steps):
            found |= set(steps)
    return found


def _kind(sound: Sound, step: int, moved: int) -> tuple[int, bool] | None:
    return None if isinstance(sound, int) else (sound[0] + moved, sound[1] == step)
