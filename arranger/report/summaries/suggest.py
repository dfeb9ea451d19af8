"""Settings to try instead, each with the effect that it has: because it was tried.

A handful of alternatives that fit the song are converted anew. What counts is what the report counts
(`arranger.report.heard.hearing`), taken with the lines and worths of the notes as they are now, so that all
alternatives are measured with the same rod: another tune must not look better only because the notes
it gives up then count for less.

Advice does no harm. An alternative is offered only if

- no note of the tune or the bass is dropped that was heard, nor heard worse by more than `WORSE`;
- no line, harmony and drums included, loses more in all than it does now, nor has more notes of which
  nothing is heard;
- what all lines lose together falls by `LEAST_GAIN` or more;
- the piece still fits, if it did.
"""

from __future__ import annotations

from itertools import islice
from operator import gt
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.conversion import convert, measure_of
from arranger.errors import ArrangerError
from arranger.grid import plan_grid
from arranger.machine import song_bytes
from arranger.options import build_settings
from arranger.reduce import reduce
from arranger.report.account_columns import account_of
from arranger.report.heard.hearing import (
    BASS,
    LINES,
    TUNE,
    AskedLines,
    asked_lines,
    heard_shares,
    lines_heard,
    lines_told,
)
from arranger.report.heard.losses import (
    DROPPED,
    beats_heard,
    heard_of,
    line_losses,
    lines_shares,
    song_heard,
)
from arranger.report.summaries.command import CommandRun

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from arranger.columns import Ints
    from arranger.conversion import Conversion
    from arranger.grid.model import Grid
    from arranger.reduce import Reduction
    from arranger.settings import Settings

    KeepEdits = Callable[[Conversion], Conversion]

MOST = 5
"""How many suggestions are made."""

NOTES_IN_ALL = 20_000
"""Notes that may be converted anew in all: large songs try less, so that the wait stays bounded."""

LEAST_GAIN = 0.05
"""Share of the loss below which a change is no improvement."""

WORSE = 10
"""Hundredths of a note of tune or bass that may be lost, such as a start that comes a little later."""

SETTLED = frozenset({"step", "transpose"})
"""What isn't tried where a hand edited the sheet: edits might not fit other steps, or another key."""


class Suggestion(NamedTuple):
    """One command to try and what it gives."""

    options: str
    """What is new in the command line."""
    command: str
    """The whole line."""
    what: str
    before: tuple[int | None, ...]
    """How much of each line is heard as it is, 0 to 100; None for one that the song lacks."""
    after: tuple[int | None, ...]
    """How much would be heard."""
    loss_change: float
    """Share of the loss that is gained (below 0)."""
    bytes_more: int

    @property
    def effect(self) -> str:
        """What it wins and loses by line: "harmony 64 to 92 %, drums 100 to 98 %; 210 bytes more"."""
        size = f"{abs(self.bytes_more)} bytes {'more' if self.bytes_more > 0 else 'less'}"
        lines = lines_told(self.before, self.after) or f"{-self.loss_change:.0%} less is lost"
        return f"{lines}; {size}" if self.bytes_more else lines


class Attempt(NamedTuple):
    """Settings to try."""

    words: Mapping[str, str]
    what: str


def suggestions(
    conversion: Conversion,
    most: int = MOST,
    *,
    run: CommandRun | None = None,
    keep_edits: KeepEdits | None = None,
) -> tuple[Suggestion, ...]:
    """Return the alternatives that gain something and lose nothing that matters, best first.

    Each is a reduction anew: this takes about as long as converting the song several times.

    Parameters
    ----------
    conversion
        What was done.
    most
        How many are wanted.
    run
        How it was started, for whole command lines; None: with the song's name in this folder.
    keep_edits
        Puts the edits of the sheet into another conversion; a sheet with edits gets no suggestion
        without it.
    """
    was = line_losses(beats_heard(conversion))
    by_hand = any("by-hand" in reasons for reasons in conversion.reduction.ledger.columns.reasons)
    if not sum(was) or (by_hand and keep_edits is None):
        return ()
    tries = max(NOTES_IN_ALL // max(len(conversion.song.notes), 1), 2)
    attempts = (
        each for each in _attempts(conversion) if not (by_hand and SETTLED & each.words.keys())
    )
    tried = (
        _tried(conversion, attempt, run or CommandRun(conversion.song.file), keep_edits)
        for attempt in islice(attempts, tries)
    )
    found = [each for each in tried if each is not None]
    # Of alternatives with the same effect the first is enough.
    distinct = {(each.after, each.loss_change): each for each in found[::-1]}
    return tuple(sorted(distinct.values(), key=lambda each: each.loss_change)[:most])


def _tried(
    conversion: Conversion, attempt: Attempt, run: CommandRun, keep_edits: KeepEdits | None
) -> Suggestion | None:
    """Return what an attempt gives; None where the song doesn't allow it, or it would do harm."""
    words = dict(attempt.words)
    try:
        settings = build_settings(words, conversion.settings)
        grid, reduction = _converted(conversion, settings, keep_edits)
    except ArrangerError:
        return None
    ledger, changed = conversion.reduction.ledger, reduction.ledger
    if words.get("transpose") == "auto":
        # What was found is said in semitones, so that it stays what was measured.
        if changed.transpose == ledger.transpose:
            return None
        words["transpose"] = str(changed.transpose)
        settings = build_settings(words, conversion.settings)
    asked = asked_lines(conversion)
    heard = heard_shares(conversion.song, conversion.engine, grid, reduction, asked.line)
    by_beat = lines_heard(conversion.song, grid, asked, heard)
    was, then = line_losses(beats_heard(conversion)), line_losses(by_beat)
    before, after = song_heard(conversion), lines_shares(by_beat)
    if _harms(conversion, asked, reduction, heard):
        return None
    if any(map(gt, then, was)) or sum(then) > sum(was) * (1 - LEAST_GAIN):
        return None
    more = _bytes_more(conversion, grid, reduction)
    if more is None:
        return None
    options = " ".join(f"--{name} {value}" for name, value in words.items())
    change = sum(then) / sum(was) - 1
    return Suggestion(options, run.line(settings), attempt.what, before, after, change, more)


def _harms(conversion: Conversion, asked: AskedLines, reduction: Reduction, heard: Ints) -> bool:
    """Return whether a note of tune or bass is lost or heard much worse, or more notes are unheard."""
    lines = (asked.line == TUNE) | (asked.line == BASS)
    dropped = np.array([outcome == "dropped" for outcome in reduction.ledger.columns.outcome])
    lost = dropped & (account_of(conversion).outcome != DROPPED)
    was = heard_of(conversion)
    if (lines & (lost | (heard < was - WORSE))).any():
        return True
    return bool((_unheard(asked, heard) > _unheard(asked, was)).any())


def _unheard(asked: AskedLines, heard: Ints) -> Ints:
    """Return what the notes count of which nothing is heard, by line."""
    counts = np.bincount(asked.line + 1, asked.value * (heard == 0), len(LINES) + 1)
    return counts[1:].astype(np.int64)


def _bytes_more(conversion: Conversion, grid: Grid, reduction: Reduction) -> int | None:
    """Return how many bytes more an attempt takes; None if then the piece no longer fits."""
    engine = conversion.engine
    now = song_bytes(conversion.sheet, engine)
    rows = reduction.voice1, reduction.voice2
    then = measure_of(engine, grid)(rows, reduction.drums)
    room = engine.memory_bytes - engine.code_bytes
    return None if now <= room < then else then - now


def _converted(
    conversion: Conversion, settings: Settings, keep_edits: KeepEdits | None = None
) -> tuple[Grid, Reduction]:
    """Return the song converted with other settings, on the grid as it is where that is the same."""
    now, song, engine = conversion.settings, conversion.song, conversion.engine
    weights = conversion.reduction.weights
    if keep_edits is not None or weights is None:  # None: a sheet that came back from MIDI
        other = convert(song, engine, settings)
        other = other if keep_edits is None else keep_edits(other)
        return other.grid, other.reduction
    grid = conversion.grid
    if settings.grid != now.grid:
        grid = plan_grid(song, engine, settings.grid, conversion.grid)
    return grid, reduce(song, engine, grid, settings.reduce, measure_of(engine, grid), weights)


def _attempts(conversion: Conversion) -> Iterator[Attempt]:
    """Yield what is worth trying on this song, the most promising first."""
    grid, settings = conversion.grid, conversion.settings
    textures = {passage.texture for passage in conversion.reduction.passages}
    if settings.reduce.texture != "auto":
        yield Attempt({"texture": "auto"}, "what each passage is made of")
    if textures != {"broken-chord"}:
        yield Attempt({"texture": "broken-chord"}, "chords by turns throughout")
    others = [choice for choice in grid.alternatives if choice.step_beats != grid.step_beats]
    for choice in others[:2]:
        finer = "finer" if choice.step_beats < grid.step_beats else "coarser"
        yield Attempt({"step": str(choice.step_beats)}, f"a {finer} step")
    if settings.reduce.drums != "full" and any(part.drum for part in conversion.song.parts):
        yield Attempt({"drums": "full"}, "all drums")
    if settings.reduce.transpose == 0:
        yield Attempt({"transpose": "auto"}, "the key that the pitch table plays best")
    yield from _bass_attempts(conversion)
    if any("octave-folded" in each for each in conversion.reduction.ledger.columns.reasons):
        for octave in ("12", "-12"):
            yield Attempt({"transpose": octave}, "an octave away")
    if "broken-chord" in textures:
        yield Attempt({"texture": "tune-and-bass"}, "two lines instead of chords by turns")


def _bass_attempts(conversion: Conversion) -> Iterator[Attempt]:
    """Yield the parts that came next in the choice of the bass; another tune gives up the tune."""
    song = conversion.song
    rivals = [
        each
        for each in conversion.reduction.roles
        if each.role == "harmony" and not song.parts[each.part].drum
    ]
    rivals.sort(key=lambda each: -each.bass_score)
    for rival in rivals[:2]:
        name = song.parts[rival.part].name
        yield Attempt({"bass": str(rival.part + 1)}, f"'{name}' carries the bass")
