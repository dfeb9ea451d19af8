"""Settings to try instead, each with the effect that it has: because it was tried.

A handful of alternatives that fit the song are converted anew, and those that gain something are
kept. What counts is the song's own measure of loss (`arranger.report.losses`), taken with the notes'
roles as they are now, so that all alternatives are measured with the same rod: another tune must not
look better only because the notes it gives up then count for less.

Those that let more notes be heard without greater loss come first, by the notes gained; then those
that only lower the loss.
"""

from __future__ import annotations

import shlex
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

from arranger.conversion import convert, measure_of
from arranger.engine import builtin_engines, load_engine
from arranger.errors import ArrangerError
from arranger.grid import plan_grid
from arranger.options import build_settings
from arranger.reduce import reduce
from arranger.report.losses import note_values, total_loss

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import numpy as np
    from numpy.typing import NDArray

    from arranger.conversion import Conversion
    from arranger.grid.model import Grid
    from arranger.reduce import Reduction
    from arranger.settings import Settings

MOST = 5
"""How many suggestions are made."""

NOTES_IN_ALL = 20_000
"""Notes that may be converted anew in all: large songs try less, so that the wait stays bounded."""

LEAST_GAIN = 0.005
"""Share of the loss below which a change is no improvement."""

MOST_RISE = 0.05
"""Share by which the loss may rise where more notes are heard; beyond it that is no advice."""


FEWER_DRUMS = ("none", "light")

HIDDEN = frozenset({"under-drum", "delayed-by-drum"})
"""The reasons of notes that would sound, or sooner, without a drum."""


class Suggestion(NamedTuple):
    """One command to try and what it gives."""

    options: str
    """To be added to the command line."""
    what: str
    heard_more: int
    """Notes heard, against the conversion as it is."""
    kept_more: int
    loss_change: float
    """Share of the loss that is gained (negative) or added; see `arranger.report.losses`."""


class Attempt(NamedTuple):
    """Settings to try."""

    words: Mapping[str, str]
    what: str


def suggestions(conversion: Conversion, most: int = MOST) -> tuple[Suggestion, ...]:
    """Return the alternatives that gain something, best first.

    Each is a reduction anew: this takes about as long as converting the song several times. A sheet
    with edits by hand gets none, since joining the edits again would change what was measured.
    """
    ledger = conversion.reduction.ledger
    values = note_values(conversion)
    by_hand = any("by-hand" in entry.reasons for entry in ledger.entries)
    if by_hand or total_loss(conversion.reduction, conversion.grid, values) == 0:
        return ()
    tries = max(NOTES_IN_ALL // max(len(conversion.song.notes), 1), 2)
    found = [
        suggestion
        for attempt in islice(_attempts(conversion), tries)
        if _may_help(conversion, attempt)
        and (suggestion := _tried(conversion, values, attempt)) is not None
    ]
    gaining = [each for each in found if _gains(each)]
    # Of alternatives with the same effect the first is enough.
    distinct = {(each.heard_more, each.kept_more, each.loss_change): each for each in gaining[::-1]}
    return tuple(sorted(distinct.values(), key=_rank)[:most])


def _may_help(conversion: Conversion, attempt: Attempt) -> bool:
    """Return whether an attempt may gain something: fewer drums only where drums hide a note."""
    return attempt.words.get("drums") not in FEWER_DRUMS or any(
        not HIDDEN.isdisjoint(entry.reasons) for entry in conversion.reduction.ledger.entries
    )


def _gains(suggestion: Suggestion) -> bool:
    if suggestion.heard_more > 0:
        return suggestion.loss_change <= MOST_RISE
    return suggestion.loss_change < -LEAST_GAIN


def _rank(suggestion: Suggestion) -> tuple[bool, float, float]:
    better = suggestion.heard_more > 0 and suggestion.loss_change <= 0
    return (not better, -suggestion.heard_more if better else 0.0, suggestion.loss_change)


def _tried(
    conversion: Conversion, values: NDArray[np.float64], attempt: Attempt
) -> Suggestion | None:
    """Return what an attempt gives, or None where the song doesn't allow it or nothing changes."""
    try:
        grid, reduction = _converted(conversion, build_settings(attempt.words, conversion.settings))
    except ArrangerError:
        return None
    ledger, changed = conversion.reduction.ledger, reduction.ledger
    words = dict(attempt.words)
    if words.get("transpose") == "auto":
        # What was found is said in semitones, so that it stays what was measured.
        if changed.transpose == ledger.transpose:
            return None
        words["transpose"] = str(changed.transpose)
    now, then = ledger.outcomes(), changed.outcomes()
    loss = total_loss(conversion.reduction, conversion.grid, values)
    options = shlex.join([word for name, value in words.items() for word in (f"--{name}", value)])
    longer = grid.steps - conversion.grid.steps
    size = f"; {abs(longer)} steps {'more' if longer > 0 else 'fewer'}" if longer else ""
    return Suggestion(
        options,
        attempt.what + size,
        now["dropped"] - then["dropped"],
        then["kept"] - now["kept"],
        total_loss(reduction, grid, values) / loss - 1 if loss else 0.0,
    )


def _converted(conversion: Conversion, settings: Settings) -> tuple[Grid, Reduction]:
    """Return the song converted with other settings, on the grid as it is where that is the same."""
    now, song = conversion.settings, conversion.song
    weights = conversion.reduction.weights
    if settings.engine == now.engine and settings.grid == now.grid:
        grid = conversion.grid
        measure = measure_of(conversion.engine, grid)
        return grid, reduce(song, conversion.engine, grid, settings.reduce, measure, weights)
    engine = conversion.engine if settings.engine == now.engine else load_engine(settings.engine)
    if weights is None:  # a sheet that came back from MIDI
        other = convert(song, engine, settings)
        return other.grid, other.reduction
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
    yield from _drum_attempts(conversion)
    if settings.reduce.transpose == 0:
        yield Attempt({"transpose": "auto"}, "the key that the pitch table plays best")
    yield from _line_attempts(conversion)
    if any("octave-folded" in entry.reasons for entry in conversion.reduction.ledger.entries):
        for octave in ("12", "-12"):
            yield Attempt({"transpose": octave}, "an octave away")
    for name in builtin_engines():
        other = load_engine(name)
        # An engine of another clock is for another machine, which is no choice of the arranger's.
        if name != conversion.engine.name and other.clock_hz == conversion.engine.clock_hz:
            yield Attempt({"engine": name}, f"another engine: {other.title}")
    if "broken-chord" in textures:
        yield Attempt({"texture": "tune-and-bass"}, "two lines instead of chords by turns")
    if settings.reduce.texture != "two-highest":
        yield Attempt({"texture": "two-highest"}, "the two highest notes, whatever they are")


def _drum_attempts(conversion: Conversion) -> Iterator[Attempt]:
    if not any(part.drum for part in conversion.song.parts):
        return
    told = {
        "none": "no drums, so that no tone is hidden",
        "light": "fewer drums",
        "full": "all drums",
    }
    for amount, what in told.items():
        if amount != conversion.settings.reduce.drums:
            yield Attempt({"drums": amount}, what)


def _line_attempts(conversion: Conversion) -> Iterator[Attempt]:
    """Yield the parts that came next in the choice of tune and bass."""
    song, roles = conversion.song, conversion.reduction.roles
    for role, score in (("tune", "tune_score"), ("bass", "bass_score")):
        rivals = [
            each for each in roles if each.role == "harmony" and not song.parts[each.part].drum
        ]
        rivals.sort(key=lambda each: -float(getattr(each, score)))
        for rival in rivals[:2]:
            name = song.parts[rival.part].name
            yield Attempt({role: str(rival.part + 1)}, f"'{name}' carries the {role}")
