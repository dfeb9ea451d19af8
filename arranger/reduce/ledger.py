"""The ledger: every note of the song, each exactly once, with its outcome and reasons."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import LawError
from arranger.reduce.reasons import OUTCOMES

if TYPE_CHECKING:
    from collections.abc import Mapping


class Span(NamedTuple):
    """A stretch of a voice that a note is heard in. Voice 1 or 2; 0 for the drum row."""

    voice: int
    step: int
    steps: int


class Entry(NamedTuple):
    """What became of one note."""

    note: int
    """The note's id."""
    outcome: str
    """One of `OUTCOMES`."""
    reasons: tuple[str, ...]
    """Keys of `REASONS`; the first decided. Empty only for a note kept as written."""
    spans: tuple[Span, ...]
    """Where it is heard; empty when it is not. For a merged note: where the other note sounds."""
    pitch_out: int | None
    """The pitch that is heard; None for drums and for what is not heard."""
    by: tuple[int, ...]
    """Ids of the notes that took its place, were merged with it, or cut it short."""
    sound: str | None = None
    """For a drum that is heard: the engine's sound."""
    late_seconds: float = 0.0
    """How much later than on its step's start a tone is heard to start, because of a drum or another
    tone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """All entries, in the order of ``Song.notes``."""

    entries: tuple[Entry, ...]
    transpose: int
    """Semitones that the whole song was moved by."""

    def outcomes(self) -> Mapping[str, int]:
        """Return how many notes had each outcome; all four are there."""
        counted = Counter(entry.outcome for entry in self.entries)
        return {outcome: counted[outcome] for outcome in OUTCOMES}

    def reasons(self) -> Mapping[str, int]:
        """Return how many notes were decided by each reason, most frequent first."""
        counted = Counter(entry.reasons[0] for entry in self.entries if entry.reasons)
        return dict(counted.most_common())


def check_conservation(ledger: Ledger, notes: int) -> None:
    """Enforce the law: notes read = kept + changed + merged + dropped, each note exactly once.

    Raises
    ------
    LawError
        If a note is missing, stands twice, or has an unknown outcome.
    """
    if [entry.note for entry in ledger.entries] != list(range(notes)):
        raise LawError(f"the ledger does not list each of {notes} notes exactly once")
    if not {entry.outcome for entry in ledger.entries} <= OUTCOMES.keys():
        raise LawError("the ledger has an unknown outcome")
