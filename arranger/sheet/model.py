"""The sheet: two voices and drums on a grid of steps. What the musician edits and the engine plays.

A cell of a voice is a MIDI note number (the tone starts here), `HOLD` (the tone before goes on) or
`REST`. The drum row is independent of the voices: when the engine's drums take a whole step, a drum
silences both voices on its step, and a tone that is held over it is heard again after it. So taking
a drum away by hand brings the tone back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from fractions import Fraction

    from arranger.rows import Row

    Rows = tuple[Row, Row, tuple[str | None, ...]]
    """Voice 1, voice 2 and drums, of a sheet or of one of its bars."""


MAX_STEPS = 1_000_000
"""A sheet of more steps is not read, nor made; the longest that a song makes has 200,000."""


class SheetBar(NamedTuple):
    """One bar of the sheet."""

    number: int
    steps: int
    numerator: int
    denominator: int
    as_bar: int | None = None
    """The bar that this one is as: an index of an earlier one in ``Sheet.bars``, which has the same
    metre, steps and cells in all rows. None: it is written out."""
    section: str = ""
    """The name of the section that begins here; "" where none does."""

    def with_metre_of(self, other: SheetBar) -> SheetBar:
        """Return the bar with the steps and the metre of another."""
        _, steps, numerator, denominator, *_ = other
        return self._replace(steps=steps, numerator=numerator, denominator=denominator)


def bar_runs(bars: Sequence[SheetBar]) -> list[tuple[SheetBar, int]]:
    """Return runs of bars that count on and have one metre: the first, and how many."""
    runs: list[tuple[SheetBar, int]] = []
    for bar in bars:
        first, count = runs[-1] if runs else (bar, 0)
        if count and bar[:4] == (first.number + count, *first[1:4]):
            runs[-1] = first, count + 1
        else:
            runs.append((bar, 1))
    return runs


class Comment(NamedTuple):
    """A comment of the musician, kept where it stands. One line, no white space at its end.

    ``bar`` is an index into ``Sheet.bars``; ``len(bars)`` means at the end of the file, -1 in the
    header. ``row`` says which line of the bar the comment belongs to: 0 the bar line, 1 and 2 the
    voices, 3 the drums, 4 below them; in the header it is the index of the line in
    ``arranger.sheet.form.text.HEADER``, and beyond those one more for each drum sound. ``beside`` is true
    for a comment at the end of that line, false for one on a line of its own above it.
    """

    bar: int
    text: str
    row: int = 0
    beside: bool = False


class SoundPart(NamedTuple):
    """A stretch of a drum sound of the sheet's own."""

    kind: str
    """"kick" or "noise", as in an engine's description."""
    settings: tuple[int, ...]
    """What the engine's routine is given."""
    microseconds: int
    """How long it sounds; 0: to the end of the step."""


class SheetSound(NamedTuple):
    """A drum sound that the header defines; `arranger.sheet.sounds` makes it one of an engine."""

    name: str
    parts: tuple[SoundPart, ...]
    """They sound one after the other."""


class Generated(NamedTuple):
    """The sheet as it was generated, packed; `arranger.sheet.record.base` packs and unpacks it."""

    packed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Two voices and drums. All rows have the same length: the sum of the bars' steps."""

    title: str
    engine: str
    """The engine's name, or the path of its TOML file as the user gave it."""
    step_beats: Fraction
    bars: tuple[SheetBar, ...]
    voice1: Row
    voice2: Row
    drums: tuple[str | None, ...]
    """The name of the drum sound that starts on the step, or None."""
    tempo: float | None = None
    """Beats a minute: the engine's nearest step length is played. With a length it only tells."""
    length: int | None = None
    """Exactly which of the engine's step lengths is played (``StepLength.setting``)."""
    sounds: tuple[SheetSound, ...] = ()
    """Drum sounds of its own; one that is called as an engine's goes before it."""
    loop_step: int | None = None
    source_file: str = ""
    source_sha256: str = ""
    settings: str = ""
    """The options that made it, as on the command line."""
    digest: str = ""
    """Of the whole sheet as generated; empty for one written by hand."""
    generated: Generated | None = None
    """What was generated, so that edits are known: ask `arranger.sheet.record.base`. None when written by
    hand, or when the record was damaged."""
    comments: tuple[Comment, ...] = ()

    @property
    def speed(self) -> float | None:
        """What decides how fast it plays: the length (whole) where there is one, else the tempo."""
        return self.tempo if self.length is None else self.length

    @property
    def steps(self) -> int:
        """How many steps it has."""
        return len(self.voice1)

    @property
    def rows(self) -> Rows:
        """Voice 1, voice 2, drums."""
        return self.voice1, self.voice2, self.drums

    def with_rows(self, rows: Rows) -> Sheet:
        """Return the sheet with other rows."""
        return replace(self, voice1=rows[0], voice2=rows[1], drums=rows[2])

    @property
    def bar_starts(self) -> tuple[int, ...]:
        """The first step of each bar, and the end of the last."""
        return tuple(accumulate((bar.steps for bar in self.bars), initial=0))

    def between(self, start: int, end: int) -> Rows:
        """Return the rows from one step to before another."""
        return self.voice1[start:end], self.voice2[start:end], self.drums[start:end]

    @property
    def bar_rows(self) -> list[Rows]:
        """The rows of each bar."""
        return [self.between(*span) for span in pairwise(self.bar_starts)]

    @property
    def bar_loops(self) -> list[int | None]:
        """For each bar the step of it, from 0, to go back to; None: not to this bar."""
        loop = self.loop_step
        return [
            loop - start if loop is not None and start <= loop < end else None
            for start, end in pairwise(self.bar_starts)
        ]


def joined_rows(bars: Iterable[Rows]) -> Rows:
    """Return the rows of bars as those of a sheet, one bar after the other."""
    found = list(bars)
    return (
        tuple([cell for voice1, _, _ in found for cell in voice1]),
        tuple([cell for _, voice2, _ in found for cell in voice2]),
        tuple([hit for _, _, drums in found for hit in drums]),
    )
