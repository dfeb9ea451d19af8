"""Which notes of a song an engine plays out of tune, here or in another key.

A song is looked at as weights by pitch: how long (in whatever unit) each MIDI number sounds. A pitch
outside the table counts as folded: it is judged where it lands, the nearest octave inside.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.pitch import pitch_name

if TYPE_CHECKING:
    from collections.abc import Mapping

    from arranger.engine.model import Engine

LIMIT_CENTS = 10.0
"""A tenth of a semitone: about where a sustained interval begins to sound sour (common practice, no
source)."""

_MOST_NAMED = 8


class OutOfTune(NamedTuple):
    """A pitch of a song that the engine plays out of tune."""

    midi: int
    """As played, after folding."""
    cents: float
    weight: float


class Transposition(NamedTuple):
    """How a song would fare in another key."""

    out_of_tune: float
    """Share (0..1) of the weight that is off by more than the limit."""
    folded: float
    """Share (0..1) of the weight that lies outside the table."""


def folded(engine: Engine, pitch: int) -> int | None:
    """Return the playable pitch nearest to one, by whole octaves, the lower of two; None: there is none."""
    for distance in range(0, 132, 12):
        for found in (pitch - distance, pitch + distance):
            if found in engine.pitches:
                return found
    return None


def out_of_tune(engine: Engine, weights: Mapping[int, float]) -> tuple[tuple[OutOfTune, ...], int]:
    """Return the pitches off by more than the limit, weightiest first, and how many were looked at.

    ``engine``: the engine that would play.
    ``weights``: how long each MIDI number sounds, in any unit, >= 0.
    """
    played: dict[int, float] = {}
    for pitch, weight in weights.items():
        found = folded(engine, pitch)
        if found is not None:
            played[found] = played.get(found, 0.0) + weight
    offending = [
        OutOfTune(pitch, engine.pitches[pitch].cents, weight)
        for pitch, weight in played.items()
        if abs(engine.pitches[pitch].cents) > LIMIT_CENTS
    ]
    return tuple(sorted(offending, key=lambda entry: (-entry.weight, entry.midi))), len(played)


def transposition(engine: Engine, weights: Mapping[int, float], semitones: int) -> Transposition:
    """Return how a song would fare, moved by so many semitones; see `out_of_tune`."""
    moved = {pitch + semitones: weight for pitch, weight in weights.items()}
    total = sum(moved.values()) or 1.0
    wrong = sum(entry.weight for entry in out_of_tune(engine, moved)[0])
    outside = sum(weight for pitch, weight in moved.items() if pitch not in engine.pitches)
    return Transposition(wrong / total, outside / total)


def advice(
    engine: Engine, weights: Mapping[int, float], *, already: int = 0, best: int | None = None
) -> str:
    """Return in words which pitches are out of tune, and how the best key would fare.

    ``engine``, ``weights``: see `out_of_tune`.
    ``already``: semitones by which the song was moved to become what ``weights`` describe.
    ``best``: the transposition that ``--transpose auto`` would choose, if known.
    """
    offending, _ = out_of_tune(engine, weights)
    if not offending:
        return f"No pitch is off by more than {LIMIT_CENTS:g} cents."
    listed = [f"{pitch_name(entry.midi)} ({entry.cents:+.0f})" for entry in offending[:_MOST_NAMED]]
    if len(offending) > _MOST_NAMED:
        listed.append(f"{len(offending) - _MOST_NAMED} more")
    now = transposition(engine, weights, 0)
    text = (
        f"Off by more than {LIMIT_CENTS:g} cents, {now.out_of_tune:.0%} of the sounding time: "
        f"{', '.join(listed)}."
    )
    if best is None:
        return text
    if best == already:
        return f"{text} --transpose auto finds no better key."
    moved = transposition(engine, weights, best - already)
    folds = f" and fold {moved.folded:.0%}" if moved.folded > 0 else ""
    return (
        f"{text} --transpose auto would choose {best:+d}, which would leave "
        f"{moved.out_of_tune:.0%}{folds}."
    )
