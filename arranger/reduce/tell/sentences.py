"""Sentences: what became of a note and why, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.bars import beside
from arranger.columns import TextColumn, in_turn, number_texts, numbered_values, view
from arranger.errors import one_line
from arranger.pitch import pitch_name
from arranger.reduce.ledger import entries_of
from arranger.reduce.reasons import (
    AFTER_DRUM,
    CHANGED,
    DRUM_OFF,
    FOR_BYTES,
    LATER,
    OTHER_OCTAVE,
    REASONS,
)
from arranger.song.general_midi import percussion_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.columns import Bools, Ints
    from arranger.grid.model import Grid
    from arranger.reduce.ledger import Entry
    from arranger.reduce.model import Reduction
    from arranger.song.model import Song

_MARKED = 0.5
"""Tune or bass weight from which a note is called so."""


def explanations(
    song: Song,
    grid: Grid,
    reduction: Reduction,
    *,
    bars: Sequence[int],
    beats: Sequence[float],
    song_bars: Sequence[int] | None = None,
    notes: range | None = None,
) -> tuple[TextColumn, ...]:
    """Return one sentence a note, in order: columns of texts that follow each other.

    Parameters
    ----------
    song, grid, reduction
        The conversion.
    bars, beats
        Where each note is written, as people count: bar number, and beat of the metre from 1.
    song_bars
        The song's number of the bar, told beside where it is another; None: always the same.
    notes
        The notes to speak of; None: all.

    Returns
    -------
    tuple of TextColumn
        Together such as "bar 12 beat 3, E4 of 'strings': dropped, both voices were busy with C5
        (tune) and A2 (bass)". One line each: names from the file are made printable.
    """
    notes = range(len(song.notes)) if notes is None else notes
    these = slice(notes.start, notes.stop)
    bar = np.array(bars[these], dtype=np.int64)
    in_song = bar if song_bars is None else np.array(song_bars[these], dtype=np.int64)
    at, place = in_turn(bar, in_song)
    places = zip(bar[at].tolist(), in_song[at].tolist(), strict=True)
    writer = _Writer(song, grid, reduction)
    return (
        TextColumn([f"bar {number}{beside(number, other)}" for number, other in places], place),
        number_texts(np.array(beats[these]), lambda beat: f" beat {round(beat, 2):g}, "),
        TextColumn(_NAMES, writer.kinds[these]),
        TextColumn(
            [f" of '{one_line(part.name)}': " for part in song.parts], song.columns.part[these]
        ),
        writer.fates(these),
    )


_PITCHES = [pitch_name(pitch) for pitch in range(128)]
_NAMES = [*_PITCHES, *(percussion_name(key) for key in range(128))]
MARKS = ("", " (tune)", " (bass)")
_LABELS = [f"{name}{mark}" for mark in MARKS for name in _NAMES]


_TEMPLATES = {
    reason: " ".join((said, CHANGED.get(reason, ""), LATER.get(reason, "")))
    for reason, said in REASONS.items()
}
"""All that may be said of each reason."""


class _Writer:
    """Fills the templates."""

    def __init__(self, song: Song, grid: Grid, reduction: Reduction) -> None:
        drum, self._columns = song.columns.drum, reduction.ledger.columns
        self.kinds = song.columns.pitch + len(_PITCHES) * drum
        """What each note is, as an index into `_NAMES`: a pitch, or a General MIDI drum."""
        self._labels = view(self.kinds + len(_NAMES) * _marks(song, reduction))
        muted = np.array([role.role == "muted" for role in reduction.roles], dtype=np.bool_)
        filling = np.zeros(len(song.notes) + 1, dtype=np.bool_)
        for row in (reduction.sources1, reduction.sources2):
            filling[np.array(row, dtype=np.int64)] = True  # a rest, -1, marks the one too many
        self._states = drum, muted[song.columns.part], filling[:-1], grid.onset_steps >= 0
        self._drum, self._muted, self._filling, self._inside = map(view, self._states)
        self._steps, self._onset = grid.onset_steps, view(grid.onset_steps)
        self._moved_ms = (grid.onset_steps - grid.positions) * (grid.step_length.seconds * 1000)

    def fates(self, these: slice) -> TextColumn:
        """Return the outcomes of some notes, and all reasons why they have them.

        Of those that fare alike one is told.
        """
        first, which = in_turn(*self._alike(these))
        notes = range(len(self._onset))[these]
        entries = entries_of(self._columns, [notes[place] for place in first.tolist()])
        return TextColumn([self.fate(entry) for entry in entries], which)

    def _alike(self, these: slice) -> Iterator[Ints | Bools]:
        """Yield columns; notes that have the same in all of them fare the same, in words too."""
        columns, spans = self._columns, self._columns.spans
        different, reason = numbered_values(columns.reasons[these])
        causes, cause = numbered_values(columns.by[these])
        names = numbered_values([tuple([self._labels[note] for note in each]) for each in causes])
        pitches = [-1 if pitch is None else pitch for pitch in columns.pitch_out[these]]
        steps = np.bincount(spans.note, spans.cells[:, 2], len(spans)).astype(np.int64)[these]
        moved = self._moved_ms[these]

        def where_told(field: str, column: Ints) -> Ints:
            told = [any(field in _TEMPLATES[one] for one in each) for each in different]
            return np.where(np.array(told, dtype=np.bool_)[reason], column, 0)

        yield reason
        yield numbered_values(columns.outcome[these])[1]
        yield names[1][cause]
        yield from (state[these] for state in self._states)
        yield np.where(steps > 0, (spans.first[:, 1] - self._steps)[these], 0)
        yield np.rint(np.array(columns.late_seconds[these]) * 1000).astype(np.int64)
        yield where_told("{pitch_out}", np.array(pitches))
        yield where_told("{steps}", steps)
        yield where_told("{moved}", 2 * np.abs(np.rint(moved)).astype(np.int64) + (moved > 0))

    def fate(self, entry: Entry) -> str:
        """Return a note's outcome, and all reasons why it has it."""
        if not entry.reasons and not entry.by:
            return entry.outcome
        return f"{entry.outcome}, {self.told(entry)}"

    def told(self, entry: Entry) -> str:
        """Return why a note has its outcome, all reasons."""
        note, _, reasons, spans, _, by, _, _ = entry
        decided = reasons[0] if reasons else ""
        if decided == "beyond-limit" and self._inside[note]:
            return FOR_BYTES
        if decided == "track-muted" and not self._muted[note]:
            return DRUM_OFF
        if not spans:
            return self._one(entry, decided)
        said = [self._one(entry, reason) for reason in reasons]
        if by and self._after_drum(entry):
            said.append(self._filled(AFTER_DRUM, entry, "delayed-by-drum"))
        return "; ".join(said)

    def _after_drum(self, entry: Entry) -> bool:
        """Return whether a drum on its step is all that makes a note late."""
        late = entry.spans[0].step > self._onset[entry.note]
        known = late or "delayed-by-drum" in entry.reasons or self._drum[entry.note]
        return not known and any(self._drum[note] for note in entry.by)

    def _one(self, entry: Entry, reason: str) -> str:
        said = REASONS[reason]
        if entry.outcome == "changed":
            said = CHANGED.get(reason, said)
            if reason == "octave-folded" and "by-hand" in entry.reasons:
                said = OTHER_OCTAVE
        elif not entry.spans and self._filling[entry.note]:
            said = LATER.get(reason, said)
        return self._filled(said, entry, reason)

    def _filled(self, said: str, entry: Entry, reason: str) -> str:
        if "{late}" in said:
            said = said.replace("{late}", f"{1000 * entry.late_seconds:.0f} ms")
        if "{pitch_out}" in said:
            out = entry.pitch_out
            said = said.replace("{pitch_out}", "" if out is None else _PITCHES[out])
        if "{moved}" in said:
            said = said.replace("{moved}", self._moved(entry, reason))
        if "{steps}" in said:
            said = said.replace("{steps}", _steps(entry))
        if "{by}" in said:
            said = said.replace("{by}", self._by(entry, reason))
        return said

    def _by(self, entry: Entry, reason: str) -> str:
        if len(entry.by) == 1:
            return self._label(entry.by[0])
        # several causes share the list: drums cover and delay, tones do the rest
        drums = reason in {"delayed-by-drum", "under-drum"}
        by = [note for note in entry.by if self._drum[note] == drums] or entry.by
        return in_a_row([*dict.fromkeys([self._label(note) for note in by])]) or "other notes"

    def _label(self, note: int) -> str:
        label: str = _LABELS[self._labels[note]]
        return label

    def _moved(self, entry: Entry, reason: str) -> str:
        if reason == "voices-full":
            late = entry.spans[0].step - self._onset[entry.note]
            return "1 step late" if late == 1 else f"{late} steps late"
        milliseconds = float(self._moved_ms[entry.note])
        return f"{abs(milliseconds):.0f} ms {'late' if milliseconds > 0 else 'early'}"


def _steps(entry: Entry) -> str:
    steps = sum([span.steps for span in entry.spans])
    return "1 step" if steps == 1 else f"{steps} steps"


def in_a_row(names: Sequence[str]) -> str:
    """Return names as people list them: "A2, C4 and E4"."""
    return " and ".join([", ".join(names[:-1]), *names[-1:]] if len(names) > 2 else names)


def _marks(song: Song, reduction: Reduction) -> Ints:
    """Return for each note the index into `MARKS`."""
    if reduction.weights is None:
        named = {"tune": 1, "bass": 2}
        by_part = np.array([named.get(role.role, 0) for role in reduction.roles], dtype=np.int64)
        return by_part[song.columns.part]
    tune, bass = reduction.weights.tune >= _MARKED, reduction.weights.bass >= _MARKED
    return np.where(tune, 1, np.where(bass, 2, 0))
