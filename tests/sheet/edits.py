"""Random edits of sheets, as a hand does them: on bars, with a record of what was done."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from arranger.rows import HOLD, REST
from arranger.sheet import Comment, Sheet, SheetBar, with_digest

if TYPE_CHECKING:
    import random

Content = tuple[tuple[int, ...], tuple[int, ...], tuple[str | None, ...]]
DRUMS = (None, None, None, "kick", "snare")
SECTIONS = ("", "", "", "A", "B")


@dataclass(frozen=True)
class Edited:
    sheet: Sheet
    touched: list[int]
    """Indices of the bars of the sheet that were changed or put in by hand."""


def contents(sheet: Sheet) -> list[Content]:
    found, start = [], 0
    for bar in sheet.bars:
        end = start + bar.steps
        found.append((sheet.voice1[start:end], sheet.voice2[start:end], sheet.drums[start:end]))
        start = end
    return found


def joined(sheet: Sheet, bars: list[SheetBar], rows: list[Content]) -> Sheet:
    steps = sum(bar.steps for bar in bars)
    loop = sheet.loop_step
    return replace(
        sheet,
        bars=tuple(bars),
        voice1=tuple(cell for row in rows for cell in row[0]),
        voice2=tuple(cell for row in rows for cell in row[1]),
        drums=tuple(cell for row in rows for cell in row[2]),
        loop_step=None if loop is None or loop >= steps else loop,
    )


def random_content(rng: random.Random, steps: int) -> Content:
    def voice() -> tuple[int, ...]:
        return tuple(rng.choice((HOLD, HOLD, REST, rng.randrange(36, 84))) for _ in range(steps))

    return voice(), voice(), tuple(rng.choice(DRUMS) for _ in range(steps))


def generated(
    rng: random.Random, *, bars: int | None = None, first: int = 1, step: Fraction | None = None
) -> Sheet:
    """Return a sheet of a few bars, some of them alike, as the conversion would write it."""
    step = step or rng.choice((Fraction(1, 2), Fraction(1, 4)))
    steps = int(4 / step)
    stock = [random_content(rng, steps) for _ in range(3)]
    count = rng.randint(1, 9) if bars is None else bars
    rows = [
        rng.choice(stock) if rng.random() < 0.5 else random_content(rng, steps)
        for _ in range(count)
    ]
    empty = Sheet(
        title="A tune",
        engine=rng.choice(("twin-phase", "twin-counter")),
        step_beats=step,
        bars=(),
        voice1=(),
        voice2=(),
        drums=(),
        source_file="tune.mid",
        tempo=float(rng.randint(60, 240)),
    )
    heads = [SheetBar(first + index, steps, 4, 4) for index in range(count)]
    return with_digest(marked(rng, joined(empty, heads, rows)))


def marked(rng: random.Random, sheet: Sheet) -> Sheet:
    """Return the sheet with a loop mark, sections and words of the song, or without some of them."""
    bars = [bar._replace(section=rng.choice(SECTIONS)) for bar in sheet.bars]
    words = [at for at in range(len(bars)) if rng.random() < 0.2]
    return replace(
        sheet,
        bars=tuple(bars),
        loop_step=rng.randrange(sheet.steps) if rng.random() < 0.3 else None,
        comments=tuple(Comment(at, f"words: {rng.choice(('sail', 'row'))}") for at in words),
    )


def generated_again(rng: random.Random, sheet: Sheet) -> Sheet:
    """Return what other settings would give for the same song: some bars alike, some not."""
    kind = rng.random()
    if kind < 0.1:
        return transposed(sheet, rng.randrange(-5, 6))
    if kind < 0.3:
        return generated(rng)
    if kind < 0.4:
        return generated(rng, bars=len(sheet.bars), step=sheet.step_beats / rng.choice((2, 3)))
    rows = [
        content if rng.random() < 0.5 else random_content(rng, bar.steps)
        for content, bar in zip(contents(sheet), sheet.bars, strict=True)
    ]
    bars = list(sheet.bars)
    if kind < 0.6:
        first = rng.randrange(len(bars))
        last = rng.randrange(first, len(bars))
        bars, rows = bars[first : last + 1], rows[first : last + 1]
    again = joined(replace(sheet, engine="twin-phase"), bars, rows)
    return with_digest(marked(rng, again))


def transposed(sheet: Sheet, semitones: int) -> Sheet:
    """Return what the conversion would give in another key."""
    rows = [
        tuple(cell + semitones if cell >= 0 else cell for cell in row)
        for row in (sheet.voice1, sheet.voice2)
    ]
    return with_digest(replace(sheet, voice1=rows[0], voice2=rows[1]), semitones)


def run_changed(rng: random.Random, content: Content) -> Content:
    """Return a bar of which a hand changed some neighbouring cells in one row."""
    row, steps = rng.randrange(3), len(content[0])
    first = rng.randrange(steps)
    last = min(steps, first + rng.choice((1, 1, 2, 4, steps)))
    rows: list[list[int | str | None]] = [list(cells) for cells in content]
    for step in range(first, last):
        rows[row][step] = (
            rng.choice(DRUMS) if row == 2 else rng.choice((HOLD, HOLD, REST, 60, 67, 48))
        )
    return tuple(map(tuple, rows))  # type: ignore[return-value]


def edit(rng: random.Random, sheet: Sheet) -> Edited:
    """Change cells and marks, put bars in, take bars out, write comments: as chance has it."""
    bars = list(sheet.bars)
    rows = contents(sheet)
    originals: list[Content | None] = list(rows)
    comments: list[list[Comment]] = [
        [comment for comment in sheet.comments if comment.bar == at] for at in range(len(bars))
    ]
    loop = sheet.loop_step
    for _ in range(rng.randint(1, 5)):
        at = rng.randrange(len(bars))
        what = rng.random()
        if what < 0.5:
            before = rows[at]
            rows[at] = (
                run_changed(rng, before) if what < 0.35 else random_content(rng, bars[at].steps)
            )
        elif what < 0.6:
            bars.insert(at, bars[at])
            rows.insert(at, random_content(rng, bars[at].steps))
            originals.insert(at, None)
            comments.insert(at, [])
        elif what < 0.7 and len(bars) > 1:
            del bars[at], rows[at], originals[at], comments[at]
        elif what < 0.8:
            loop = rng.choice((None, rng.randrange(sum(bar.steps for bar in bars))))
        elif what < 0.9:
            bars[at] = bars[at]._replace(section=rng.choice(SECTIONS))
        else:
            comments[at].append(Comment(at, f"a thought {rng.random()}"))
    at = rng.randrange(len(bars))
    other = rng.randrange(at + 1)
    alike = bars[other][1:4] == bars[at][1:4] and bars[other].number != bars[at].number
    if rng.random() < 0.3 and other < at and alike:
        bars[at] = bars[at]._replace(as_bar=other)
        rows[at] = rows[other]
    placed = [comment._replace(bar=at) for at, found in enumerate(comments) for comment in found]
    found = replace(joined(replace(sheet, loop_step=loop), bars, rows), comments=tuple(placed))
    touched = [index for index, was in enumerate(originals) if was != rows[index]]
    return Edited(found, touched)
