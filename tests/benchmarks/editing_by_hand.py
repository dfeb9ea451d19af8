"""Edits of a sheet's text as an editor makes them, each with what must be found again later.

What is looked for is chosen so that no song has it by itself: low tones in voice 1 and high ones in
voice 2 in odd intervals, rare drum sounds, comments and names with numbers that come once.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from arranger.pitch import pitch_name

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator

    from arranger.sheet import Sheet

RARE_SOUNDS = ("block", "triangle", "ride-hat", "snare-crash", "kick-crash", "snare-ride")
LOW, HIGH = range(42, 48), range(73, 78)  # with the intervals within all engines' tables
INTERVALS = ((1, 7), (6, 1), (1, 5), (7, 1), (5, 6), (6, 5))
_ROWS = ("voice 1", "voice 2", "drums")
_BAR = re.compile(r"bars?\b")
_RUN = re.compile(r"bars +(\d+)-(\d+)")
_SIGNS = ("-", ".")
_TONE = re.compile(r"[A-G]#?\d")
_HIT = re.compile(r"[a-z]{2,}(?:-[a-z]+)*")


@dataclass(frozen=True)
class Tones:
    """Tones of a voice that start one after the other."""

    voice: int
    pitches: tuple[int, ...]

    def found(self, sheet: Sheet) -> list[int]:
        """Return the first step of each place where they stand."""
        row = (sheet.voice1, sheet.voice2)[self.voice]
        starts = [(step, cell) for step, cell in enumerate(row) if cell >= 0]
        many = len(self.pitches)
        return [
            starts[at][0]
            for at in range(len(starts) - many + 1)
            if tuple(cell for _, cell in starts[at : at + many]) == self.pitches
        ]


@dataclass(frozen=True)
class Hit:
    """A drum sound that the song doesn't have there."""

    sound: str

    def found(self, sheet: Sheet) -> list[int]:
        return [step for step, cell in enumerate(sheet.drums) if cell == self.sound]


@dataclass(frozen=True)
class Thought:
    """A comment."""

    text: str

    def found(self, sheet: Sheet) -> list[int]:
        starts = (*sheet.bar_starts, sheet.steps)
        return [starts[max(c.bar, 0)] for c in sheet.comments if self.text in c.text]


@dataclass(frozen=True)
class Loop:
    """A loop mark, in the bar that has a comment."""

    text: str

    def found(self, sheet: Sheet) -> list[int]:
        if sheet.loop_step is None:
            return []
        bars = {c.bar for c in sheet.comments if self.text in c.text}
        return [
            sheet.bar_starts[bar]
            for bar in bars
            if sheet.bar_starts[bar] <= sheet.loop_step < sheet.bar_starts[bar + 1]
        ]


@dataclass(frozen=True)
class Section:
    """A section mark."""

    name: str

    def found(self, sheet: Sheet) -> list[int]:
        pairs = zip(sheet.bars, sheet.bar_starts, strict=False)
        return [start for bar, start in pairs if bar.section.lower() == self.name]


@dataclass(frozen=True)
class Title:
    """The title."""

    text: str

    def found(self, sheet: Sheet) -> list[int]:
        return [0] if sheet.title == self.text else []


@dataclass(frozen=True)
class Tempo:
    """The tempo."""

    value: float

    def found(self, sheet: Sheet) -> list[int]:
        return [0] if sheet.tempo == self.value else []


Item = Tones | Hit | Thought | Loop | Section | Title | Tempo


@dataclass(frozen=True)
class Edit:
    """A text after an edit."""

    text: str
    told: str
    new: tuple[Item, ...]
    replaced: tuple[type, ...] = ()
    """Kinds of which only the new one is left."""
    row: tuple[int, int] | None = None
    """The bar, as an index, and the row whose cells were changed."""
    moves_bars: bool = False


class Page:
    """The lines of a sheet's text, by bar."""

    def __init__(self, text: str) -> None:
        self.lines = text.split("\n")
        self.starts = [at for at, line in enumerate(self.lines) if _BAR.match(line)]
        self.end = next(
            (at for at, line in enumerate(self.lines) if line.startswith("generated")),
            len(self.lines) - 1,
        )

    def written_out(self) -> list[int]:
        """Return which blocks are bars with rows."""
        return [
            at for at, line in enumerate(self.starts) if not re.search(r"\bas \d", self.lines[line])
        ]

    def bar_of(self, block: int) -> int:
        """Return the index of a block's first bar: a line of bars stands for several."""
        found = (_RUN.match(self.lines[at]) for at in self.starts[:block])
        return sum(int(run[2]) - int(run[1]) + 1 if run else 1 for run in found)

    def lines_of(self, block: int) -> range:
        ends = [*self.starts[1:], self.end]
        return range(self.starts[block], ends[block])

    def row(self, block: int, name: str) -> int | None:
        return next(
            (at for at in self.lines_of(block) if self.lines[at].strip().startswith(name)), None
        )

    def text(self) -> str:
        return "\n".join(self.lines)


def by_hand(rng: random.Random, text: str, sheet: Sheet, mark: int) -> Edit | None:
    """Return a random edit; None where chance chose one that can't be made here."""
    page = Page(text)
    kinds = (
        _tones, _tones, _tones, _hit, _hit, _comment, _comment, _loop, _section, _title, _tempo,
        _new_bar, _no_bar,
    )  # fmt: skip
    return rng.choice(kinds)(rng, page, sheet, mark)


def _typed(rng: random.Random, cells: list[str]) -> str:
    """Return cells as a hand types them, aligned or not, holds and rests perhaps joined on."""
    gap = rng.choice((" ", "  ", "\t", "   "))
    joined = rng.random() < 0.3
    return "".join(f"{'' if joined and cell in _SIGNS else gap}{cell}" for cell in cells).lstrip()


def _with_cells(
    rng: random.Random, page: Page, block: int, row: str, cells: dict[int, str]
) -> None:
    """Put cells into a row, which is there."""
    at = page.row(block, row)
    assert at is not None
    head, rest = page.lines[at].split(row, 1)
    code, mark, comment = (
        re.split(r"((?:^|(?<=\s))#)", rest, maxsplit=1)
        if re.search(r"(?:^|\s)#", rest)
        else (rest, "", "")
    )
    words = code.replace("|", " ").split()
    for place, word in cells.items():
        words[place] = word
    page.lines[at] = f"{head}{row} {_typed(rng, words)}{' ' if mark else ''}{mark}{comment}"


def _place(rng: random.Random, page: Page, row: str) -> tuple[int, int] | None:
    """Return a block that has a row, and how many cells that has."""
    blocks = [block for block in page.written_out() if page.row(block, row) is not None]
    if not blocks:
        return None
    block = rng.choice(blocks)
    line = page.lines[page.row(block, row) or 0].split(row, 1)[1]
    code = re.split(r"(?:^|\s)#", line, maxsplit=1)[0]
    words = code.replace("|", " ").split()
    alone = all(_TONE.fullmatch(word) or _HIT.fullmatch(word) or word in _SIGNS for word in words)
    return (block, len(words)) if alone else None


def _tones(rng: random.Random, page: Page, _sheet: Sheet, _mark: int) -> Edit | None:
    voice = rng.randrange(2)
    found = _place(rng, page, _ROWS[voice])
    if found is None or found[1] < 3:
        return None
    block, many = found
    first, second = rng.choice(INTERVALS)
    low = rng.choice((LOW, HIGH)[voice])
    pitches = (low, low + first, low + first - second)
    at = rng.randrange(many - 2)
    cells = {at + place: pitch_name(pitch) for place, pitch in enumerate(pitches)}
    _with_cells(rng, page, block, _ROWS[voice], cells)
    told = f"{_ROWS[voice]} of block {block}: {' '.join(cells.values())} from cell {at}"
    return Edit(page.text(), told, (Tones(voice, pitches),), row=(page.bar_of(block), voice))


def _hit(rng: random.Random, page: Page, _sheet: Sheet, _mark: int) -> Edit | None:
    found = _place(rng, page, "drums")
    if found is None or not found[1]:
        return None
    sound, at = rng.choice(RARE_SOUNDS), rng.randrange(found[1])
    _with_cells(rng, page, found[0], "drums", {at: sound})
    told = f"drums of block {found[0]}: {sound} at cell {at}"
    return Edit(page.text(), told, (Hit(sound),), row=(page.bar_of(found[0]), 2))


def _comment(rng: random.Random, page: Page, _sheet: Sheet, mark: int) -> Edit:
    text = f"thought {mark}"
    at = rng.choice([0, *page.starts, *range(page.starts[0], page.end)])
    if rng.random() < 0.5 and at and not re.search(r"(?:^|\s)#", page.lines[at]):
        page.lines[at] += f"  # {text}"
    else:
        page.lines.insert(max(at, 1), f"# {text}")
    return Edit(page.text(), f"comment {text} at line {at}", (Thought(text),))


def _bar_line(rng: random.Random, page: Page) -> int | None:
    found = [
        page.starts[block]
        for block in page.written_out()
        if "#" not in page.lines[page.starts[block]]
    ]
    return rng.choice(found) if found else None


def _loop(rng: random.Random, page: Page, _sheet: Sheet, mark: int) -> Edit | None:
    for line in page.starts:
        page.lines[line] = re.sub(r"\s+loop(?:\s+\d+)?", "", page.lines[line])
    at = _bar_line(rng, page)
    if at is None:
        return None
    text = f"loop from here {mark}"
    page.lines[at] += f"  loop  # {text}"
    return Edit(page.text(), text, (Thought(text), Loop(text)), replaced=(Loop,))


def _section(rng: random.Random, page: Page, _sheet: Sheet, mark: int) -> Edit | None:
    at = _bar_line(rng, page)
    if at is None or "section" in page.lines[at]:
        return None
    name = f"by-hand-{mark}"
    page.lines[at] = re.sub(r"(\s+loop.*)?$", rf"  section {name}\1", page.lines[at], count=1)
    return Edit(page.text(), f"section {name} at line {at}", (Section(name),))


def _title(rng: random.Random, page: Page, _sheet: Sheet, mark: int) -> Edit | None:
    at = next((at for at, line in enumerate(page.lines) if line.startswith("title")), None)
    if at is None:
        return None
    page.lines[at] = f"title my tune {mark}"
    return Edit(page.text(), page.lines[at], (Title(f"my tune {mark}"),), replaced=(Title,))


def _tempo(rng: random.Random, page: Page, sheet: Sheet, _mark: int) -> Edit | None:
    at = next((at for at, line in enumerate(page.lines) if line.startswith("tempo")), None)
    value = rng.choice((90.0, 104.0, 131.5))
    if at is None or sheet.length is not None:
        return None
    page.lines[at] = f"tempo {value:g}"
    return Edit(page.text(), page.lines[at], (Tempo(value),), replaced=(Tempo,))


def _new_bar(rng: random.Random, page: Page, _sheet: Sheet, mark: int) -> Edit:
    at = rng.choice([*page.starts, page.end])
    low = rng.choice(LOW)
    pitches = (low, low + 1, low + 8)
    row = f"  voice 1 {' '.join(map(pitch_name, pitches))}"
    page.lines[at:at] = [f"bar 4/4 {len(pitches)} steps # new bar {mark}", row, ""]
    told = f"new bar {mark} at line {at}"
    new = (Tones(0, pitches), Thought(f"new bar {mark}"))
    return Edit(page.text(), told, new, moves_bars=True)


def _no_bar(rng: random.Random, page: Page, sheet: Sheet, _mark: int) -> Edit | None:
    if len(page.starts) < 3 or any(bar.as_bar is not None for bar in sheet.bars):
        return None  # bars that are as this one would have to be written anew
    block = rng.randrange(1, len(page.starts))
    lines = page.lines_of(block)
    told = f"bar of block {block} taken out"
    del page.lines[lines.start : lines.stop]
    return Edit(page.text(), told, (), moves_bars=True)


def bars_of(sheet: Sheet, steps: list[int]) -> Iterator[int]:
    """Yield for each step the index of its bar."""
    for step in steps:
        yield max(bar for bar, start in enumerate(sheet.bar_starts[:-1]) if start <= step)


def moved(item: Item, by: int, pitches: frozenset[int]) -> Item:
    """Return an item after a transposition, with tones folded into the pitches of an engine."""
    if not isinstance(item, Tones):
        return item
    return replace(item, pitches=tuple(folded(pitch + by, pitches) for pitch in item.pitches))


def folded(pitch: int, pitches: frozenset[int]) -> int:
    octaves = (pitch + 12 * sign * n for n in range(10) for sign in (1, -1))
    return next((each for each in octaves if each in pitches), pitch)
