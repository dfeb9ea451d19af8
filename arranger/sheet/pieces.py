"""A sheet cut into bars that can stand elsewhere, and the tones that are held over their lines."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from arranger.rows import HOLD, REST, tones

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.model import Comment, Sheet, SheetBar


class Conflict(NamedTuple):
    """A place where the hand and the conversion disagree. The hand's version was kept."""

    bar: int | None
    """The bar's number as people count; None for the header."""
    what: str

    def __str__(self) -> str:
        where = "the header" if self.bar is None else f"bar {self.bar}"
        return f"{where}: {self.what}"


Held = tuple[int | None, int | None]


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar cut out of a sheet."""

    head: SheetBar
    start: int
    """Its first step."""
    voice1: Sequence[int]
    voice2: Sequence[int]
    drums: Sequence[str | None]
    loop: int | None
    """The step of the bar, from 0, to go back to; None: not to this bar."""
    held: Held
    """The pitches that the voices hold when the bar begins."""


@dataclass(slots=True)
class Piece:
    """A bar of a sheet that is put together, or the comments of one that is gone."""

    bar: Bar | None
    by_hand: bool
    now: int | None
    """Index of the bar in the sheet as generated now, if a merge knows it."""
    comments: list[Comment]
    held: Held = (None, None)
    """The pitches that the voices should hold when the bar begins."""
    held_too: Held | None = None
    """Others that will do, since the bar stood after them in the edited sheet."""


def cut(sheet: Sheet) -> list[Bar]:
    """Return the bars of a sheet."""
    held1, held2 = [None, *tones(sheet.voice1)], [None, *tones(sheet.voice2)]
    found: list[Bar] = []
    for head, (start, end) in zip(sheet.bars, pairwise(sheet.bar_starts), strict=True):
        loop = sheet.loop_step
        found.append(
            Bar(
                head=head,
                start=start,
                voice1=sheet.voice1[start:end],
                voice2=sheet.voice2[start:end],
                drums=sheet.drums[start:end],
                loop=loop - start if loop is not None and start <= loop < end else None,
                held=(held1[start], held2[start]),
            )
        )
    return found


def repair_holds(pieces: list[Piece]) -> list[Conflict]:
    """Let a generated bar start the tone that it holds, where the bar before doesn't leave it.

    An edited bar isn't touched: that its first tone is another now is listed.
    """
    conflicts: list[Conflict] = []
    held: list[int | None] = [None, None]
    for piece in pieces:
        bar = piece.bar
        if bar is None:
            continue
        rows = [bar.voice1, bar.voice2]
        fitting = piece.held
        if piece.held_too and not _strange_holds(rows, held, piece.held, piece.held_too):
            fitting = piece.held_too
        for voice in _strange_holds(rows, held, piece.held, fitting):
            if piece.by_hand:
                what = f"voice {voice + 1} begins with a hold, and another tone is held now"
                conflicts.append(Conflict(bar.head.number, what))
            else:
                meant = piece.held[voice]
                rows[voice] = (REST if meant is None else meant, *rows[voice][1:])
        for voice, row in enumerate(rows):
            before = held[voice]
            held[voice] = tones((REST if before is None else before, *row))[-1]
        piece.bar = replace(bar, voice1=rows[0], voice2=rows[1])
    return conflicts


def _strange_holds(rows: list[Sequence[int]], held: list[int | None], *fitting: Held) -> list[int]:
    """Return the voices that begin with a hold of a tone that doesn't fit."""
    return [
        voice
        for voice, row in enumerate(rows)
        if row[0] == HOLD and held[voice] not in [pitches[voice] for pitches in fitting]
    ]
