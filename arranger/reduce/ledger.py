"""The ledger: every note of the song, each exactly once, with its outcome and reasons."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain, pairwise
from typing import TYPE_CHECKING, NamedTuple, overload

import numpy as np

from arranger.columns import named_rows, ranges
from arranger.errors import LawError
from arranger.reduce.reasons import OUTCOMES

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from arranger.columns import Ints


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


class Spans(Sequence[tuple[Span, ...]]):
    """The spans of all notes, in two columns; tuples of them are made when one is asked for.

    ``cells``: voice, step and steps of each span, shape (spans, 3).
    ``ends``: where the spans of each note end among these, shape (notes,).
    """

    def __init__(self, cells: Ints, ends: Ints) -> None:
        self.cells = cells
        self.ends = ends

    @classmethod
    def of(cls, spans: Sequence[Sequence[Span]]) -> Spans:
        """Return the spans of each note as columns."""
        cells = np.array([*chain.from_iterable(spans)], dtype=np.int64).reshape(-1, 3)
        return cls(cells, np.cumsum([*map(len, spans)], dtype=np.int64))

    @cached_property
    def begins(self) -> Ints:
        """Where the spans of each note begin, shape (notes,)."""
        return np.append(0, self.ends)[:-1]

    @cached_property
    def first(self) -> Ints:
        """The first span of each note, -1 where there is none; shape (notes, 3)."""
        there = self.begins < self.ends
        return np.append(self.cells, [[-1, -1, -1]], axis=0)[np.where(there, self.begins, -1)]

    @cached_property
    def note(self) -> Ints:
        """The note that each span is of, shape (spans,)."""
        return np.repeat(np.arange(len(self.ends)), self.ends - self.begins)

    @cached_property
    def _made(self) -> tuple[tuple[Span, ...], ...]:
        made = tuple(named_rows(Span, zip(*self.cells.T.tolist(), strict=True)))
        return tuple([made[first:end] for first, end in pairwise((0, *self.ends.tolist()))])

    def of_notes(self, notes: Sequence[int]) -> Spans:
        """Return the spans of some notes."""
        at = np.array(notes, dtype=np.int64)
        counts = self.ends[at] - self.begins[at]
        cells = self.cells[ranges(counts) + np.repeat(self.begins[at], counts)]
        return Spans(cells, np.cumsum(counts))

    def __len__(self) -> int:
        return len(self.ends)

    @overload
    def __getitem__(self, note: int) -> tuple[Span, ...]: ...
    @overload
    def __getitem__(self, note: slice) -> tuple[tuple[Span, ...], ...]: ...
    def __getitem__(self, note: int | slice) -> tuple[Span, ...] | tuple[tuple[Span, ...], ...]:
        if isinstance(note, slice) or "_made" in self.__dict__:
            return self._made[note]
        return tuple(named_rows(Span, self.cells[self.begins[note] : self.ends[note]].tolist()))

    def __iter__(self) -> Iterator[tuple[Span, ...]]:
        return iter(self._made)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Spans) and self._made == other._made

    def __hash__(self) -> int:
        return hash(self._made)


class EntryColumns(NamedTuple):
    """The same of all notes: for each field of `Entry` what every one has."""

    note: tuple[int, ...]
    outcome: tuple[str, ...]
    reasons: tuple[tuple[str, ...], ...]
    spans: Spans
    pitch_out: tuple[int | None, ...]
    by: tuple[tuple[int, ...], ...]
    sound: tuple[str | None, ...]
    late_seconds: tuple[float, ...]


def columns_of(entries: Sequence[Entry]) -> EntryColumns:
    """Return what all entries have, field by field."""
    fields = zip(*entries, strict=True) if entries else ((),) * len(Entry._fields)
    columns = EntryColumns(*fields)
    return columns._replace(spans=Spans.of(columns.spans))


def entries_of(columns: EntryColumns, notes: Sequence[int] | None = None) -> list[Entry]:
    """Return the same entry by entry, of some notes or all."""
    fields: Iterable[Iterable[object]] = columns
    if notes is not None:
        fields = (
            column.of_notes(notes)
            if isinstance(column, Spans)
            else [column[note] for note in notes]
            for column in columns
        )
    return named_rows(Entry, zip(*fields, strict=True))


@dataclass(frozen=True, kw_only=True)
class Ledger:
    """All entries, in the order of ``Song.notes``."""

    columns: EntryColumns
    transpose: int
    """Semitones that the whole song was moved by."""

    @classmethod
    def of(cls, entries: Sequence[Entry], transpose: int) -> Ledger:
        """Return a ledger of entries, which stay the very same values."""
        ledger = cls(columns=columns_of(entries), transpose=transpose)
        ledger.__dict__["entries"] = tuple(entries)
        return ledger

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        """The entries one by one."""
        return tuple(entries_of(self.columns))

    def outcomes(self) -> Mapping[str, int]:
        """Return how many notes had each outcome; all four are there."""
        counted = Counter(self.columns.outcome)
        return {outcome: counted[outcome] for outcome in OUTCOMES}

    def reasons(self) -> Mapping[str, int]:
        """Return how many notes were decided by each reason, most frequent first."""
        counted = Counter(reasons[0] for reasons in self.columns.reasons if reasons)
        return dict(counted.most_common())


def check_conservation(ledger: Ledger, notes: int) -> None:
    """Enforce the law: notes read = kept + changed + merged + dropped, each note exactly once.

    Raises
    ------
    LawError
        If a note is missing, stands twice, or has an unknown outcome.
    """
    if ledger.columns.note != tuple(range(notes)):
        raise LawError(f"the ledger does not list each of {notes} notes exactly once")
    if not {*ledger.columns.outcome} <= OUTCOMES.keys():
        raise LawError("the ledger has an unknown outcome")
